"""Several nets side by side: each is the net it would be alone, and a cut-off loses none of them."""

import json
from dataclasses import replace

import pytest
import torch
from inline_supply import InlineSupply
from safetensors.torch import load_file

from dialtell.model.net.weights_file import load_weights
from dialtell.model.reading.patches import SIDE
from dialtell.synth.shared.errors import OutputError, ParameterError, WeightsError
from dialtell.synth.shared.terms import ZONES
from dialtell.synth.shared.workers import spawned
from dialtell.train.run.config import preset
from dialtell.train.run.loop import Trainer, losses
from dialtell.train.run.store import Batch
from dialtell.train.study import study as command
from dialtell.train.study.baselines import BASELINES, build_baseline, load_baseline, patch_statistics
from dialtell.train.study.side_by_side import MEMBERS, Member, Study, chosen, spread

CONFIG = preset("tiny", epochs=2, pairs=2, device="cpu", calibration=12)
NAMES = ("strokes-2", "repetition", "linear")


@pytest.fixture(scope="module")
def studied(tmp_path_factory):
    study = Study(CONFIG, chosen(NAMES), tmp_path_factory.mktemp("runs") / "study")
    study.begin()
    study.run(InlineSupply())
    study.finish(InlineSupply(), command="a study")
    return study


def test_a_member_is_what_it_would_be_alone(studied, tmp_path):
    """Trained beside others on the same pictures: the same numbers, bit for bit."""
    alone = Trainer(replace(CONFIG, seed=2), tmp_path / "alone", pictures_seed=1)
    alone.start_folder()
    alone.run(InlineSupply())
    one, other = (load_file(folder / "last.safetensors") for folder in (alone.folder, studied.folder / "strokes-2"))
    assert one.keys() == other.keys() and all(torch.equal(one[key], other[key]) for key in one)


def test_what_it_leaves(studied, strict_json):
    record = strict_json((studied.folder / "study.json").read_text())
    assert record == studied.record() and record["schema"] == "dialtell.study/1"
    assert [member["name"] for member in record["members"]] == list(NAMES)
    assert all(member["epochs"] == 2 and member["steps"] == 4 for member in record["members"])
    assert record["members"][0]["seed"] == 2 and 0 <= record["devices"]["cpu"]["in_steps"] <= 1
    weights = load_weights(studied.folder / record["members"][0]["weights"])
    assert "member strokes-2; pictures of seed 1" in weights.record["training"]["command"]
    ablated = load_weights(studied.folder / "repetition" / "strokes.safetensors")
    assert not ablated.net.config.texture and ablated.net.config.spread


def test_a_baseline_comes_back(studied):
    weights = load_baseline(studied.folder / "linear" / "baseline.safetensors")
    best = load_file(studied.folder / "linear" / "best.safetensors")
    assert all(torch.equal(value, best[f"average.{key}"]) for key, value in weights.net.state_dict().items())
    assert weights.record["kind"] == "linear probe" and weights.record["figures"]["dial"][0]["n"] > 0
    with pytest.raises(WeightsError, match=r"schema is not dialtell\.baseline/1"):
        load_baseline(studied.folder / "strokes-2" / "strokes.safetensors")
    with pytest.raises(WeightsError, match="no such file"):
        load_baseline(studied.folder / "linear" / "nothing.safetensors")


def test_a_study_cut_off_is_finished(tmp_path, monkeypatch, caplog):
    """Cut while the second member trains its first epoch: the first has its weights, the second is left out."""
    study = Study(CONFIG, chosen(["strokes-1", "texture"]), tmp_path / "study")
    study.begin()

    def cut(self, name):
        if self.folder.name == "texture":
            raise KeyboardInterrupt
        save(self, name)

    save = Trainer.save
    monkeypatch.setattr(Trainer, "save", cut)
    with pytest.raises(KeyboardInterrupt):
        study.run(InlineSupply())
    monkeypatch.undo()
    again = Study.load(tmp_path / "study")
    assert again.trainers["strokes-1"].epoch == 1
    again.finish(InlineSupply(), command="finished")
    assert load_weights(tmp_path / "study/strokes-1/strokes.safetensors").record["training"]["steps"] == 2
    assert again.record()["members"][1]["weights"] is None
    assert "texture/best.safetensors: no such file" in caplog.text


def test_folders_refused(studied, tmp_path):
    with pytest.raises(OutputError, match="holds a run already"):
        Study(CONFIG, chosen(NAMES), studied.folder).begin()
    with pytest.raises(ParameterError, match="no study there"):
        Study.load(tmp_path)


def test_members_by_name():
    assert chosen(None) == MEMBERS and {m.kind for m in MEMBERS} >= {"strokes", *BASELINES}
    assert sum(member.kind == "strokes" and member.size == member.every == 1 for member in MEMBERS) == 3
    with pytest.raises(ParameterError, match="members hold 'oak'; give some of strokes-1"):
        chosen(["oak"])


def test_sizes_and_fewer_pictures(tmp_path):
    """One wider net, and one that sees every second pair of twins; both score photographs in the end."""
    study = Study(CONFIG, chosen(["strokes-1", "larger", "fewer"]), tmp_path / "study")
    study.begin()
    assert study.trainers["larger"].config.net.widths == (16, 16, 16, 24)  # of 8, 8, 8, 16, in whole eights
    study.run(InlineSupply())
    (lane,) = study.lanes
    assert len(lane.stores[2]) * 2 == len(lane.stores[1])
    study.finish(InlineSupply(), command="a study")
    sizes = {member["name"]: member["parameters"] for member in study.record()["members"]}
    assert sizes["larger"] > 1.5 * sizes["strokes-1"] and sizes["fewer"] == sizes["strokes-1"]
    assert load_weights(tmp_path / "study/larger/strokes.safetensors").net.config.code == 24


def test_a_member_begins_with_the_encoder_of_other_weights(studied, tmp_path):
    """Also of weights for another preprocessing; what judges the codes is its own, and the run says where it began."""
    path = studied.folder / "strokes-2" / "strokes.safetensors"
    old = tmp_path / "strokes.safetensors"
    old.write_bytes(path.read_bytes())
    record = json.loads(path.with_suffix(".json").read_text())
    old.with_suffix(".json").write_text(json.dumps(record | {"preprocessing": {"version": 1}}))
    given, member = load_weights(path).net, Member("mine", "strokes", begun=old)
    made = member.net(member.config(CONFIG))
    assert all(torch.equal(made.encoder.state_dict()[key], value) for key, value in given.encoder.state_dict().items())
    assert not torch.equal(made.mix[0].weight, given.mix[0].weight)
    origin = member.config(CONFIG).origin
    assert "encoder alone" in origin.name and origin.sha256 == load_weights(path).sha256
    with pytest.raises(WeightsError, match="strokes"):
        Member("mine", "strokes", size=2.0, begun=old).net(Member("mine", "strokes", size=2.0).config(CONFIG))


def test_members_are_spread_by_cost():
    lanes = spread(MEMBERS, 2)
    assert sorted(m.name for lane in lanes for m in lane) == sorted(m.name for m in MEMBERS)
    costs = [sum(m.cost for m in lane) for lane in lanes]
    assert max(costs) - min(costs) <= 4 and len(spread(MEMBERS[:1], 2)) == 1


@pytest.mark.parametrize("kind", BASELINES)
def test_baselines_take_and_give_what_the_net_does(kind):
    """Padding changes nothing, nor the order of patches; the loss reaches every parameter."""
    torch.manual_seed(0)
    net = build_baseline(kind)
    patches, zone = torch.rand(3, 10, SIDE, SIDE), torch.tensor([[0, 0, 0, 0, 1, 1, 1, 3, 3, 3]]).repeat(3, 1)
    zone[1, 6:] = -1
    level = torch.tensor([0.0, -1.0, -2.0])
    hand = torch.tensor([1.0, 0.0, 1.0])
    batch = Batch(patches, zone, level, hand[:, None].expand(3, len(ZONES)), hand, torch.tensor([-1.0, 1.0, -1.0]),
                  torch.tensor([1, 0, 2]))  # fmt: skip
    losses(net(patches, zone, level), batch).backward()
    assert all(p.grad is not None and torch.isfinite(p.grad).all() for p in net.parameters())
    net.eval()
    with torch.no_grad():
        whole = net(patches, zone, level)
        alone = net(patches[1:2, :6].flip(1), zone[1:2, :6].flip(1), level[1:2])
    assert whole.dial.shape == (3,) and whole.zone.shape == whole.present.shape == (3, len(ZONES))
    assert whole.patch.shape == (3, 10) and whole.photographic.shape == (3,)
    assert torch.allclose(whole.dial[1], alone.dial[0], atol=1e-4)
    assert torch.equal(whole.present[1], alone.present[0]) and whole.present[1].tolist() == [True, True, *[False] * 3]
    shown = whole.present[1]
    assert torch.allclose(whole.zone[1][shown], alone.zone[0][shown], atol=1e-4)


def test_statistics_of_a_flat_and_a_stepped_patch():
    flat, step = torch.full((1, SIDE, SIDE), 0.5), torch.zeros(1, SIDE, SIDE)
    step[:, :, 32:] = 1.0
    found = patch_statistics(torch.cat([flat, step]))
    assert found[0, :10].tolist() == [1, 1, 1, 1, 1, 0, 0, 0, 0, 0] and found[0, 10:18].sum() == 0
    assert found[1, 9] == 0 and found[1, 3] == 0.5
    assert found[1, 10:18].tolist() == pytest.approx([1 / 63] * 8)  # one column of slopes in 63
    assert found[0, 22:].tolist() == [0.5] * 64


def test_unknown_baseline():
    with pytest.raises(ParameterError, match="baseline is 'oak'; give one of linear probe, resnet18"):
        build_baseline("oak")


@pytest.mark.parametrize("words", [[], ["--out", "a", "--finish", "b"], ["--finish", "nowhere"]])
def test_wrong_words(words, capsys, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    assert command.main(words) == 1
    told = capsys.readouterr()
    assert told.out == "" and "study: error: " in told.err
    assert not list(tmp_path.iterdir())


def test_workers_that_only_draw_import_no_torch():
    """What a spawned process imports: the file that was run, and where its tasks live. Those that read what they drew
    (train.bags, the ladder) need the reader and with it torch: 1.2 s at their start."""
    import subprocess
    import sys

    code = (
        "import sys, dialtell.train.study.study, dialtell.train.reader.pictures, dialtell.synth.sets.manifest; "
        "print('torch' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True).stdout == "False\n"


def test_workers_that_read_run_torch_on_one_thread(monkeypatch):
    """There is one worker a core."""
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    with spawned(1) as pool:
        assert pool.submit(torch.get_num_threads).result() == 1


def test_json_is_the_record(studied):
    assert json.loads((studied.folder / "study.json").read_text())["members"][2]["kind"] == "linear probe"

"""What a net says of a batch of dials, and what its logits are the sums of."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from torch import Tensor


@dataclass(frozen=True, eq=False)
class Reasons:
    """What each place and each pair of like strokes adds to a logit, nats, the sums being exact to rounding.

    dial[b] = dial_base[b] + place_dial[b].sum() + pair_dial[b].sum(), and likewise zone[b, z] with `place_zone` and
    `pair_zone` of the patches of that zone. place_* : (B, N), 0 where there is no patch. pair_* : (B, N, K), of patch n
    with patch pair_with[b, n, k] of its zone and scale, 0 where pair_with is -1. dial_base : (B,). zone_base : (B, Z).
    """

    place_dial: Tensor
    place_zone: Tensor
    pair_dial: Tensor
    pair_zone: Tensor
    pair_with: Tensor
    dial_base: Tensor
    zone_base: Tensor

    def each(self, do: Callable[[Tensor], Tensor]) -> Reasons:
        """Likewise with every tensor through `do`."""
        return Reasons(**{name: do(value) for name, value in vars(self).items()})


@dataclass(frozen=True, eq=False)
class NetOutput:
    """Logits at prior 1:1; positive speaks for the hand.

    dial : (B,). zone : (B, Z). patch : (B, N) of each patch, judged beside the others of its zone.
    photographic : (B,) positive for photographic against transfer print.
    present : (B, Z) true where the zone has patches. reasons : what the logits are the sums of, None of baselines
    that are no such sums, and where the patches are no longer there. voices : what it is the mean of, if of several,
    each without voices of its own.
    """

    dial: Tensor
    zone: Tensor
    patch: Tensor
    photographic: Tensor
    present: Tensor
    reasons: Reasons | None = None
    voices: tuple[NetOutput, ...] = ()

    @property
    def spoken(self) -> tuple[NetOutput, ...]:
        """Its voices, or itself where it has none of its own."""
        return self.voices or (self,)

    def each(self, do: Callable[[Tensor], Tensor]) -> NetOutput:
        """Likewise with every tensor through `do`."""
        tensors = {name: do(value) for name, value in vars(self).items() if isinstance(value, Tensor)}
        return NetOutput(
            **tensors,
            reasons=None if self.reasons is None else self.reasons.each(do),
            voices=tuple(voice.each(do) for voice in self.voices),
        )

    def row(self, at: int) -> NetOutput:
        """That of one dial, as a batch of one."""
        return self.each(lambda value: value[at : at + 1])

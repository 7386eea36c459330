"""A movement's year from its serial number, by the user's own table: serial, year; straight lines between its rows."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from dialtell.evaluate.period.date_check import EARLIEST, LATEST, Years
from dialtell.synth.shared.errors import ParameterError
from dialtell.synth.shared.tables import read_table

COLUMNS = ("serial", "year")


@dataclass(frozen=True)
class SerialTable:
    """serials : ascending. years : not falling, one each. name : of the file, for messages."""

    serials: tuple[int, ...]
    years: tuple[float, ...]
    name: str

    def years_of(self, serial: int) -> Years:
        """The year of `serial`, with an interval from the rows on either side, widened by half a year.

        A table says when numbers were begun or reached, so the true year lies between its neighbours'. Raises
        ParameterError for a number outside the table: the line is not drawn on beyond it.
        """
        if not self.serials[0] <= serial <= self.serials[-1]:
            raise ParameterError(
                f"--serial {serial} lies outside {self.name} ({self.serials[0]} to {self.serials[-1]}); "
                "give --year, or a table that reaches so far"
            )
        after = next(index for index, number in enumerate(self.serials) if number >= serial)
        if self.serials[after] == serial:
            low = high = best = self.years[after]
        else:
            low, high = self.years[after - 1], self.years[after]
            part = (serial - self.serials[after - 1]) / (self.serials[after] - self.serials[after - 1])
            best = low + part * (high - low)
        return Years(low - 0.5, best, high + 0.5, f"serial {serial} by {self.name}")


def read_serials(path: Path) -> SerialTable:
    """Read a CSV with the columns serial and year (others are ignored); serials may hold commas or spaces.

    Raises ParameterError naming file, row and remedy.
    """
    try:
        table = read_table(path, COLUMNS)
    except ParameterError as error:
        raise ParameterError(f"--serials {error}") from None
    rows: list[tuple[int, float]] = []
    for number, cells in table.rows:
        row = table.named(cells)
        try:
            serial = int(row["serial"].replace(",", "").replace(" ", ""))
            year = float(row["year"])
        except ValueError:
            raise ParameterError(
                f"--serials {path}, row {number}: {row['serial']!r}, {row['year']!r}; give whole numbers"
            ) from None
        if serial < 0 or not EARLIEST <= year <= LATEST:
            raise ParameterError(
                f"--serials {path}, row {number}: {serial}, {year:g}; give a serial of 0 or more and a year "
                f"from {EARLIEST} to {LATEST}"
            )
        rows.append((serial, year))
    if len(rows) < 2:
        raise ParameterError(f"--serials {path}: {len(rows)} rows; give at least 2")
    rows.sort()
    for (before, early), (after, late) in pairwise(rows):
        if after == before:
            raise ParameterError(f"--serials {path}: serial {after} stands twice; keep one row")
        if late < early:
            raise ParameterError(
                f"--serials {path}: serial {after} has year {late:g}, an earlier one {early:g}; a table must rise "
                "(split blocks that were numbered out of order into files of their own)"
            )
    return SerialTable(tuple(serial for serial, _ in rows), tuple(year for _, year in rows), path.name)

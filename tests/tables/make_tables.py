"""Make the tables that `identify/tables/` carries: `python -m tests.tables.make_tables` (needs the test extra).

munsell_renotation_lab_c.csv: the renotation of colour-science as CIELAB under its own illuminant C, one row for each
value and hue: a*, b* at chroma 2, 4, 6, ...  Lab cells of iscc_nbs_centroids.csv that stand empty are filled
from that table.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
from pathlib import Path

import numpy as np

TABLES = Path(__file__).resolve().parents[2] / "identify" / "tables"


def munsell_rows() -> list[list[str]]:
    """Real colours from value 1 up; below, of the extrapolated ones those inside the MacAdam limits."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # colour-science tells of optional packages that are not installed
        import colour

        white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["C"]
        chosen: dict[tuple[float, str], dict[float, tuple[float, float]]] = {}
        dark = [c for c in colour.notation.MUNSELL_COLOURS["all"] if 0.2 < c[0][1] < 1]  # 0.2 lacks a hue
        for (hue, value, chroma), xyy in [*dark, *colour.notation.MUNSELL_COLOURS["real"]]:
            y = float(colour.colorimetry.luminance_ASTMD1535(value)) / 100
            colour_xyy = np.array([xyy[0], xyy[1], y])
            if value < 1 and (chroma > 2 and not colour.is_within_macadam_limits(colour_xyy, "C")):
                continue
            lab = colour.XYZ_to_Lab(colour.xyY_to_XYZ(colour_xyy), white)
            chosen.setdefault((value, hue), {})[chroma] = (float(lab[1]), float(lab[2]))
    rows = [["value", "hue", "a and b at chroma 2, 4, 6, ..."]]
    for (value, hue), at in sorted(chosen.items()):
        series = []
        for chroma in range(2, 100, 2):
            if chroma not in at:
                break
            series += [f"{v:.2f}" for v in at[chroma]]
        rows.append([f"{value:g}", hue, *series])
    return rows


def _write(path: Path, rows: list[list[str]]) -> None:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    path.write_text(text.getvalue(), encoding="utf-8")


def main() -> None:
    """Write both tables."""
    _write(TABLES / "munsell_renotation_lab_c.csv", munsell_rows())
    from identify.colour import lab_of_munsell

    path = TABLES / "iscc_nbs_centroids.csv"
    rows = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    for row in rows[1:]:
        notation = re.fullmatch(r"([\d.]+[A-Z]+) ([\d.]+)/([\d.]+)", row[2])
        if not row[3] and notation:
            row[3:] = [f"{v:.2f}" for v in lab_of_munsell(notation[1], float(notation[2]), float(notation[3]))]
    _write(path, rows)


if __name__ == "__main__":
    main()

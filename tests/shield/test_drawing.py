"""The drawings, read back with a general XML reader and a general DXF library."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
from shield_scenes import blank_of, u_panel

from clearance.shield.drawing import write_drawing
from clearance.shield.pattern import Pattern, flat_pattern

SPACE = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def pattern() -> Pattern:
    channel = u_panel()
    return flat_pattern(blank_of(channel, replace(channel, corners=channel.corners + np.array([80.0, 0, 0]))))


def _points(element: ElementTree.Element) -> np.ndarray:
    return np.array([[float(x) for x in pair.split(",")] for pair in element.attrib["points"].split()])


def _area(points: np.ndarray) -> float:
    x, y = points.T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def test_svg_is_to_scale_and_not_mirrored(pattern: Pattern, tmp_path: Path):
    root = ElementTree.parse(write_drawing(pattern, tmp_path)[0]).getroot()
    wide, high = (float(root.attrib[key].removesuffix("mm")) for key in ("width", "height"))
    assert root.attrib["viewBox"].split() == [f"0 0 {wide:.2f} {high:.2f}".split()[i] for i in range(4)]
    outline, _ = root.findall(f"{SPACE}polygon")
    # Counter-clockwise seen from outside; in SVG y points down, so the sum turns negative.
    assert _area(_points(outline)) == pytest.approx(-80 * 111, rel=1e-4)
    lines = root.findall(f"{SPACE}polyline")
    bar = max(map(_points, lines), key=lambda p: np.ptp(p[:, 0]))
    assert np.ptp(bar[:, 0]) == pytest.approx(100.0)
    folds = [_points(line) for line in lines if "stroke-dasharray" in line.attrib]
    assert [np.ptp(fold[:, 1]) for fold in folds] == pytest.approx([80.0] * 4)
    inside = np.vstack([_points(e) for e in root if "points" in e.attrib])
    assert inside.min() >= 0
    assert (inside <= [wide, high]).all()


def test_words_name_pieces_seams_and_the_caution(pattern: Pattern, tmp_path: Path):
    assert len(pattern.pieces) > 1
    root = ElementTree.parse(write_drawing(pattern, tmp_path)[0]).getroot()
    words = [text.text for text in root.findall(f"{SPACE}text")]
    assert {piece.name for piece in pattern.pieces} <= set(words)
    assert sum(word.startswith("to ") for word in words) == sum(len(piece.joins) for piece in pattern.pieces)
    told = " ".join(words)
    assert "An aid, not an approval." in told
    assert "qualified person" in told
    assert told.count("+90°") == 4
    assert "bent over an inside radius" in told


def test_pieces_do_not_overlap_on_the_sheet(pattern: Pattern, tmp_path: Path):
    root = ElementTree.parse(write_drawing(pattern, tmp_path)[0]).getroot()
    boxes = [(p.min(axis=0), p.max(axis=0)) for p in map(_points, root.findall(f"{SPACE}polygon"))]
    for i, (low, high) in enumerate(boxes):
        for other_low, other_high in boxes[:i]:
            assert ((low > other_high + 5) | (other_low > high + 5)).any()


def test_dxf_is_in_millimetres_with_closed_cuts(pattern: Pattern, tmp_path: Path):
    drawing = ezdxf.readfile(write_drawing(pattern, tmp_path)[1])
    assert drawing.header["$INSUNITS"] == 4  # millimetres, DXF reference
    assert not drawing.audit().errors
    cuts = list(drawing.modelspace().query('LWPOLYLINE[layer=="CUT"]'))
    assert len(cuts) == len(pattern.pieces)
    assert all(cut.closed for cut in cuts)
    areas = sorted(_area(np.array(cut.get_points("xy"))) for cut in cuts)
    flat = sorted(_area(piece.rims[0]) for piece in pattern.pieces)
    assert areas == pytest.approx(flat, rel=1e-6)
    assert len(drawing.modelspace().query('LWPOLYLINE[layer=="FOLD"]')) == 4
    assert areas[0] > 0  # counter-clockwise: seen from outside
    assert "An aid, not an approval." in " ".join(text.dxf.text for text in drawing.modelspace().query("TEXT"))

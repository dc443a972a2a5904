"""What the schema allows at its borders, and the rules within one table that a line of a job file rests on."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from clearance.job import schema
from clearance.job.motions import Rock
from clearance.job.schema import FORESEEN, Decision, Job, Part, Zone
from clearance.job.values import Table
from clearance.job.where import Where

AXIS = {"point": (0, 0, 0), "direction": (0, 1, 0)}
SPHERE = {"sphere": {"center": (0, 0, 0), "diameter": 1}}


def _zone(**more) -> Zone:
    return Zone.model_validate({"name": "z", "kind": "line", "where": SPHERE, "gap": 20, **more})


def test_zero_is_a_legal_gap_and_tolerance():
    assert _zone(gap=0).required_gap == 0
    assert Part.model_validate({"file": "p.stl", "unit": "mm", "tolerance": 0}).tolerance == 0


@pytest.mark.parametrize(
    ("more", "required"),
    [
        ({}, 20),
        ({"gap_shielded": 12}, 20),
        ({"gap_shielded": 12, "shielded": True}, 12),
        ({"gap_shielded": 0, "shielded": True}, 0),
    ],
)
def test_the_shielded_gap_applies_only_behind_a_shield(more, required):
    assert _zone(**more).required_gap == required


@pytest.mark.parametrize(
    ("where", "body"),
    [(SPHERE, False), ({**SPHERE, "solid": True}, True), ({"rest": True}, False), ({"file": "a", "unit": "m"}, True)],
)
def test_a_zone_is_a_body_where_it_is_solid_or_a_file(where, body):
    assert Where.model_validate(where).is_body is body


@pytest.mark.parametrize("confidence", [0.5, 0.999])
def test_confidence_within_its_borders(confidence):
    assert Decision(confidence=confidence).confidence == confidence


@pytest.mark.parametrize("confidence", [0.499, 1.0])
def test_confidence_outside_its_borders(confidence):
    with pytest.raises(ValidationError):
        Decision(confidence=confidence)


def test_a_rock_may_stand_still_at_its_neutral_pose():
    rock = Rock.model_validate({"axis": AXIS, "roll": (0, 0)})
    assert (rock.roll, rock.lift, rock.shift) == ((0, 0), (0, 0), (0, 0))
    assert (rock.up, rock.forward) == ((0, 0, 1), (1, 0, 0))


@pytest.mark.parametrize("roll", [(-90, 0), (0, 90)])
def test_a_roll_of_a_quarter_turn_is_the_most(roll):
    assert Rock.model_validate({"axis": AXIS, "roll": roll}).roll == roll


def test_tables_are_frozen():
    with pytest.raises(ValidationError):
        _zone().gap = 1.0


def test_foreseen_keys_are_not_known_keys():
    tables = {field.alias or key: field for key, field in Job.model_fields.items()}
    for table, keys in FORESEEN.items():
        assert table == "" or table in tables
        known = {f.alias or k for k, f in Zone.model_fields.items()} if table == "zone" else set(tables)
        assert not known & set(keys)


def _tables() -> list[type[Table]]:
    return [t for t in vars(schema).values() if isinstance(t, type) and issubclass(t, Table)]


def test_every_key_says_what_it_means_and_numbers_their_unit():
    units = ("mm", "degrees", "probability", "any length", "N m", "emissivity", "m/s")
    numbers = []
    for table in _tables():
        for key, field in table.model_fields.items():
            if field.exclude:
                continue
            assert field.description, f"{table.__name__}.{key}"
            if "float" in str(field.annotation):
                numbers.append(key)
                assert any(unit in field.description for unit in units), f"{table.__name__}.{key}"
    assert {"gap", "roll", "tolerance", "matrix", "noise"} <= set(numbers)

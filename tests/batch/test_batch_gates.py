"""Rules for what may pass without a look."""

import dataclasses

import pytest
from batch_rows import row

from slopewright.batch import Status, read_gates
from slopewright.errors import InputError

HEAD = 'format = "slopewright-gates"\nversion = 1\nname = "own"\n'


def gates(tmp_path, *rules):
    path = tmp_path / "g.toml"
    path.write_text(
        HEAD + "".join(f'[[rule]]\nname = "r{i}"\nwhy = "w"\n{rule}\n' for i, rule in enumerate(rules))
    )
    return read_gates(path)


def test_a_plain_certified_roof_passes_the_gates_that_come_with_the_program():
    assert read_gates(None).stopped_by(row()) == ()


@pytest.mark.parametrize("status", sorted(set(Status) - {Status.OK, Status.NOT_CERTIFIED}))
def test_what_was_not_measured_never_passes(tmp_path, status):
    loose = gates(tmp_path, "value = 'planes'\nmin = 0")
    assert loose.stopped_by(row(status=status, values={})) == ("not measured",)


@pytest.mark.parametrize(
    ("changed", "stopped"),
    [
        ({"area_low_m2": 94.9, "area_high_m2": 105.1}, ("area",)),
        ({"area_low_m2": 95.1, "area_high_m2": 104.9}, ()),
        ({"main_rise_in_12_low": 5.4, "main_rise_in_12_high": 6.6}, ("pitch",)),
        ({"observed": 0.8}, ("seen",)),
        ({"unknown_m": 10.0}, ("edges",)),
        ({"planes": 25.0}, ("simple",)),
        ({"squares": 3.0}, ("size",)),
        ({"footprint_m2": 60.0}, ("footprint",)),
        ({"footprint_m2": 80.0}, ()),
        ({"observed": float("nan")}, ("seen",)),
    ],
)
def test_each_rule_stops_at_its_limit(changed, stopped):
    """Oracle: the limits in configs/gates/standard.toml, by hand: area 100 m², 5 %; footprint 0.9 to 1.35."""
    plain = row()
    assert read_gates(None).stopped_by(dataclasses.replace(plain, values=plain.values | changed)) == stopped


def test_a_warning_that_no_rule_has_heard_of_stops():
    assert read_gates(None).stopped_by(row(warnings=("other_roofs", "of_tomorrow"))) == ("warnings",)
    assert read_gates(None).stopped_by(row(status=Status.NOT_CERTIFIED)) == ("certified",)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "format: missing"),
        (HEAD, "rule: missing"),
        (HEAD + "[[rule]]\nname = 'a'\nwhy = 'b'\n", "rule 1: .*need one of status, value, warnings_allowed"),
        (HEAD + "[[rule]]\nname = 'a'\nwhy = 'b'\nvalue = 'squares'\n", "rule 1: .*need min or max"),
        (HEAD + "[[rule]]\nname = 'a'\nwhy = 'b'\nvalue = 'size'\nmin = 1.0\n", "rule 1 value: got 'size'"),
        (HEAD + "[[rule]]\nname = 'a'\nwhy = 'b'\nvalue = 'squares'\nmin = nan\n", "rule 1 min: got nan"),
        (HEAD + "[[rule]]\nname = 'a'\nwhy = 'b'\nstatus = ['ok']\n" * 2, "rule 'a': the name is taken"),
        (HEAD + "x = 1\n", "rule: missing|x: got 1"),
        ("[[", "not valid TOML"),
    ],
)
def test_a_fault_of_the_file_is_told_by_rule_and_field(tmp_path, text, message):
    path = tmp_path / "g.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=message):
        read_gates(path)

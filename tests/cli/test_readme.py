"""README.md against the program.  Oracle: what the reader is told."""

import re
from pathlib import Path

import click
import numpy as np
import pytest

import slopewright.finish
from report.hand_roofs import gable
from slopewright import takeoff
from slopewright.cli.main import commands
from slopewright.job import load_job
from slopewright.job.systems import find_system, read_system

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_the_job_file_that_readme_shows_is_accepted_and_taken_off(tmp_path):
    (tmp_path / "roof.laz").write_bytes(b"")
    (tmp_path / "job.toml").write_text(
        re.search(r"```toml\n(.*?)```", README, re.DOTALL)[1], encoding="utf-8"
    )
    job = load_job(tmp_path)
    system = takeoff.system_from_toml(read_system(find_system(job.system)), file="system")
    found = takeoff.run(gable(), system, job.request, rng=np.random.default_rng(0))
    statuses = {line.item: line.status for line in found.lines}
    assert statuses["ice barrier"] == "code_item"
    assert statuses["gutters off and on"] == "by_others"


def test_every_command_and_option_in_readme_exists():
    for line in re.findall(r"^slopewright (\w.*)$", README, re.MULTILINE):
        command, *rest = line.split("#")[0].split()
        known = {flag for option in commands.commands[command].params for flag in option.opts}
        for flag in (word for word in rest if word.startswith("--")):
            assert flag in known, line
    for flag in re.findall(r"`(--[a-z]+)`", README):
        assert any(flag in option.opts for c in commands.commands.values() for option in c.params), flag


def test_every_command_is_documented_in_readme():
    for name in commands.commands:
        assert f"slopewright {name}" in README
    assert isinstance(commands, click.Group)


def test_ci_runs_the_test_command_of_readme():
    command = re.search(r"^python3\.11 -m venv .*pytest.*$", README, re.MULTILINE)[0]
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for step in command.split(" && ")[1:]:
        assert step in ci


@pytest.mark.parametrize("name", ["constraints.txt", "run", "check"])
def test_ci_files_name_no_address(name):
    text = (ROOT / ".ci" / name).read_text(encoding="utf-8")
    assert not re.search(r"https?:|file:|@|index-url|/root/|/work/", text.replace('"$@"', ""))


def test_the_files_that_readme_lists_are_those_of_a_run():
    rows = re.findall(r"^\| (`.*?) \|", README, re.MULTILINE)
    listed = {name for row in rows for name in re.findall(r"`([^`]+)`", row)}
    assert slopewright.finish.TIMES_FILE in listed
    assert {"roof.json", "covariance.json", "takeoff.json", "takeoff.csv", "plan.svg", "run.json"} <= listed

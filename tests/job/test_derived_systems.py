"""Systems told as changes to another one."""

import pytest

from slopewright.errors import InputError
from slopewright.intent import Intent, Options
from slopewright.job import load_job
from slopewright.job.derive import derive
from slopewright.job.systems import find_system, read_system, system_files, system_names

BASE = {
    "name": "base",
    "shingle": {"width_in": 36, "exposure_in": 5},
    "layer": [{"item": "felt", "unit": "sq"}, {"item": "caps", "unit": "lf"}],
}


def changed(**changes):
    return derive({"base": "base", **changes}, BASE, file="mine.toml")


def test_a_table_is_replaced_key_by_key_and_the_rest_kept():
    result = changed(name="mine", shingle={"width_in": 39.375})
    assert result["shingle"] == {"width_in": 39.375, "exposure_in": 5}
    assert result["name"] == "mine" and result["layer"] == BASE["layer"]
    assert "base" not in result


def test_layers_are_left_out_changed_and_added_where_they_belong():
    result = changed(
        without=["caps"],
        layer=[
            {"item": "felt", "unit": "roll"},
            {"item": "tape", "after": "felt"},
            {"item": "glue", "after": "tape"},
        ],
    )
    assert result["layer"] == [{"item": "felt", "unit": "roll"}, {"item": "tape"}, {"item": "glue"}]
    assert BASE["layer"][0] == {"item": "felt", "unit": "sq"}


@pytest.mark.parametrize(
    ("changes", "text"),
    [
        ({"without": ["cap"]}, "mine.toml: without: no item 'cap' in base, need one of felt; caps"),
        ({"without": "caps"}, "mine.toml: without: got 'caps', need a list of items in quotes"),
        ({"layer": {"item": "felt"}}, "mine.toml: layer: got {'item': 'felt'}, need [[layer]] tables"),
        ({"layer": [{"unit": "sq"}]}, "mine.toml: layer 1: item: missing"),
        ({"layer": [{"item": "tape"}]}, "mine.toml: layer 1: item 'tape' is not in base and has no after"),
        ({"layer": [{"item": "tape", "after": "cap"}]}, "mine.toml: layer 1: after: no item 'cap' in base"),
        (
            {"layer": [{"item": "felt", "after": "caps"}]},
            "after: 'felt' has its place in base, need no after",
        ),
    ],
)
def test_changes_that_do_not_fit_the_base_are_refused_by_item(changes, text):
    with pytest.raises(InputError) as caught:
        changed(**changes)
    assert text in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize("base", ["slates", 3, "../composition-strip"])
def test_a_base_is_one_of_the_shipped_systems(tmp_path, base):
    path = tmp_path / "mine.toml"
    path.write_text(f"base = {base!r}\n")
    with pytest.raises(InputError, match=r"mine\.toml: base: got .*, need one of composition-"):
        read_system(path)


def test_a_file_of_changes_may_build_on_a_file_of_changes():
    files = system_files(find_system("composition-strip-woven"))
    assert [path.stem for path in files] == [
        "composition-strip-woven",
        "composition-strip",
        "composition-laminated",
    ]
    content = read_system(files[0])
    assert content["laying"]["beyond_in"]["valley"] == 12 and content["shingle"]["width_in"] == 36


def test_every_shipped_system_can_be_read():
    assert len(system_names()) >= 8
    for name in system_names():
        assert read_system(find_system(name))["name"] == name


def test_a_run_knows_when_a_base_has_changed(tmp_path, monkeypatch):
    """The digest of each file that the system comes from goes into the takeoff's key."""
    for name in ("composition-laminated", "composition-strip"):
        text = find_system(name).read_text(encoding="utf-8")
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    monkeypatch.setattr("slopewright.job.systems.shipped", lambda relative: tmp_path)
    (tmp_path / "roof.xyz").write_text("0 0 0\n")

    def key() -> str:
        job = load_job(tmp_path / "roof.xyz")
        return Intent.of_job(job, Options(unit="m", system="composition-strip")).takeoff_key

    before = key()
    assert key() == before
    base = tmp_path / "composition-laminated.toml"
    base.write_text(base.read_text(encoding="utf-8") + "\n# another word\n", encoding="utf-8")
    assert key() != before

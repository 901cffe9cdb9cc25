"""The table and the folder that say what a batch measures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from slopewright.batch import read_manifest
from slopewright.batch.entry import folder_name
from slopewright.errors import InputError


def table(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "m.csv"
    path.write_bytes(text.encode(encoding))
    return path


def test_a_table_gives_its_roofs_in_order_with_paths_from_its_own_folder(tmp_path):
    """Oracle: the lines as written; RFC 4180 quoting."""
    text = "id,input,unit,system,at_x,at_y,footprint\r\n7,a b.laz,ft,my.toml,1.5,-2,\r\n"
    text += '"x, ""y""",c,,,,,lot.geojson\r\n'
    first, second = read_manifest(table(tmp_path, text))
    assert (first.id, first.input_path, first.unit, first.at) == (
        "7",
        tmp_path / "a b.laz",
        "ft",
        (1.5, -2.0),
    )
    assert first.system == str(tmp_path / "my.toml")
    assert (second.id, second.footprint, second.unit, second.at) == (
        'x, "y"',
        tmp_path / "lot.geojson",
        None,
        None,
    )


@pytest.mark.parametrize("separator", [";", "\t"])
def test_other_separators_and_a_byte_order_mark(tmp_path, separator):
    path = table(
        tmp_path, separator.join(("ID", "Input")) + "\n" + separator.join(("1", "a,b.laz")), "utf-8-sig"
    )
    assert read_manifest(path)[0].input_path == tmp_path / "a,b.laz"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "need a header line"),
        ("id,input\n", "no line below the header"),
        ("id,path\n1,a\n", "line 1: column 'path' is not known"),
        ("id,unit\n1,m\n", "line 1: no column 'input'"),
        ("id,input,id\n1,a,2\n", "line 1: a column stands there twice"),
        ("id,input\n1,a\n1,b\n", "id '1' stands there twice"),
        ("id,input\na,a\nA,b\n", "id 'A' stands there twice"),
        ("id,input\n1\n", "line 2: 1 cells, need 2"),
        ("id,input\n,a\n", "line 2: id: empty"),
        ("id,input\n1,\n", "line 2: input: empty"),
        ("id,input,unit\n1,a,yard\n", "line 2: unit: 'yard'"),
        ("id,input,at_x,at_y\n1,a,nan,2\n", "line 2: at_x: got 'nan'"),
        ("id,input,at_x,at_y\n1,a,3,\n", "line 2: at_y: got ''"),
        ("id,input,at_x,at_y,footprint\n1,a,3,4,f\n", "at_x and footprint are both given"),
        ('id,input\n1,"a\n', "line 2"),
        ("id,input\n1,a\0b\n", "NUL"),
    ],
)
def test_a_fault_of_the_table_is_told_by_line_and_column(tmp_path, text, message):
    with pytest.raises(InputError) as caught:
        read_manifest(table(tmp_path, text))
    assert message in str(caught.value) and "m.csv" in str(caught.value)


def test_a_folder_gives_its_jobs_and_clouds_but_no_runs(tmp_path):
    for name in (
        "job1/job.toml",
        "job2/cloud.laz",
        "notes/readme.md",
        "old.run/run.json",
        "x.laz",
        "y.pdf",
        ".h/a.laz",
    ):
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    assert [entry.id for entry in read_manifest(tmp_path)] == ["job1", "job2", "x.laz"]


def test_nothing_to_do_is_refused(tmp_path):
    with pytest.raises(InputError, match="no job in this folder"):
        read_manifest(tmp_path)
    with pytest.raises(InputError, match="no such file"):
        read_manifest(tmp_path / "m.csv")


ids = st.text(st.characters(), min_size=1, max_size=30)  # surrogates too


@given(ids, ids)
def test_every_id_has_a_folder_name_of_its_own_that_stays_in_its_folder(first, second):
    """Oracle: percent-encoding is injective (RFC 3986); a name without separators cannot leave a folder."""
    try:
        names = folder_name(first), folder_name(second)
    except InputError as error:
        assert "half a character" in str(error) or "as a file name" in str(error)
        return
    assert (names[0] == names[1]) == (first == second)
    for name in names:
        assert not set(name) & set('/\\:*?"<>|\0') and not name.startswith(".") and name[-1] not in " ."

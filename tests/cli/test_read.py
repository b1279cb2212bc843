"""``keepcard read``: what a readings file holds, storing nothing."""

from __future__ import annotations

import json

import pytest

FILE = (
    "# illuminant: D65\n# observer: 10\n# geometry: multi-angle\n"
    "name,angle,L,a,b\nsilver,15,98.2,0.1,0.4\nsilver,45,60.5,-0.2,0.1\nsilver,110,31,0,0.2\n"
)


@pytest.fixture
def written(tmp_path):
    def write(content: str | bytes, name: str = "readings.csv") -> str:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return str(path)

    return write


def test_json_has_the_contract_shape_and_nothing_else_is_printed(keepcard, written):
    result = keepcard("read", written(FILE), "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    found = json.loads(result.stdout)
    assert found["format"] == "csv"
    (sample,) = found["samples"]
    assert sample["name"] == "silver"
    assert sample["lab"] is None and sample["xyz"] is None and sample["spectrum"] is None
    assert sample["conditions"] == {
        "illuminant": "D65",
        "observer": 10,
        "geometry": "multi-angle",
        "specular": None,
    }
    assert sample["angles"] == {
        "15": [98.2, 0.1, 0.4],
        "45": [60.5, -0.2, 0.1],
        "110": [31, 0, 0.2],
    }
    assert found["warnings"] == []


def test_the_format_is_told_by_content_and_not_by_name(keepcard, written):
    assert keepcard("read", written(FILE, "readings.cxf"), "--json").exit_code == 0
    table = "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_NAME LAB_L LAB_A LAB_B\nEND_DATA_FORMAT\n"
    table += "BEGIN_DATA\nx 50 1 -2\nEND_DATA\n"
    result = keepcard("read", written(table, "readings.csv"), "--json")
    found = json.loads(result.stdout)
    assert (found["format"], found["samples"][0]["lab"]) == ("cgats", [50, 1, -2])


def test_a_bad_row_is_refused_with_its_place_and_nothing_is_printed(keepcard, written):
    result = keepcard("read", written("name,L,a,b\nx,50,1,2\ny,5o,1,2\n"), "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "Error: Line 3, column 'L': '5o' is not a number. Write it as 12.3 or 12,3.\n"
    )


def test_a_missing_file_is_refused_with_its_name(keepcard, tmp_path):
    result = keepcard("read", str(tmp_path / "no.csv"))
    assert result.exit_code == 2
    assert "no.csv' cannot be read: no such file or directory" in result.stderr


def test_a_folder_is_refused(keepcard, tmp_path):
    result = keepcard("read", str(tmp_path))
    assert result.exit_code == 2
    assert "is a directory" in result.stderr


def test_people_see_a_table_and_what_the_file_leaves_open(keepcard, written):
    result = keepcard("read", written("name,L,a,b\nx,50,1,2\nx,51,1,2\n"))
    assert result.exit_code == 0
    row = next(line for line in result.stdout.splitlines() if line.startswith("x "))
    assert row.split()[:5] == ["x", "2", "50.50", "1.00", "2.00"]
    assert "The illuminant is not stated" in result.stdout


def test_standard_input_is_read(keepcard):
    result = keepcard("read", "-", "--json", input=FILE)
    assert json.loads(result.stdout)["samples"][0]["name"] == "silver"


def test_a_process_of_its_own_prints_one_object_and_exits_as_promised(shell_keepcard, written):
    done = shell_keepcard("read", written(FILE), "--json")
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.count(b"\n") == 1
    assert json.loads(done.stdout)["samples"]
    done = shell_keepcard("read", written("no header\n"), "--json")
    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr.startswith(b"Error: Line 1: no header")

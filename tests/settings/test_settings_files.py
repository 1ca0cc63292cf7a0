"""Settings files: where they are looked for, what may stand in them, which line is wrong."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from shrinkrule.errors import FileError, SettingError
from shrinkrule.settings import KEYS, Settings, files_for, read_settings, settings_text


def write(folder: Path, text: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "shrinkrule.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_every_kind_of_value_is_read(tmp_path: Path) -> None:
    """An inch is 25.4 mm; names of files start from the file's own folder."""
    path = write(
        tmp_path,
        '[printer]\nnozzle = "0.02 in"\nbed = [220, 200, 250]\n'
        '[filament]\ndensity = 5\ncurrency = "EUR"\n'
        '[calibration]\ntable = "tables/bronze.csv"\n'
        '[furnace]\ncrucible = "90 x 60"\n[limits]\nfloor_layers = 4\n',
    )
    values = read_settings(path).values
    assert values["printer.nozzle"] == pytest.approx(0.508, abs=1e-12)
    assert values["printer.bed"] == "220x200x250"
    assert values["filament.density"] == 5.0
    assert values["filament.currency"] == "EUR"
    assert values["calibration.table"] == tmp_path / "tables" / "bronze.csv"
    assert values["furnace.crucible"] == "90x60"
    assert values["limits.floor_layers"] == 4


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("[printer]\nnozle = 0.6\n", 2, "write nozzle"),
        ("[printer]\n\nlayer = 0.3\n", 3, "write layer_height"),
        ("[printer]\ndensity = 4.9\n", 2, "write density below [filament]"),
        ("[printr]\nnozzle = 0.6\n", 1, "write [printer]"),
        ("# mine\nnozzle = 0.6\n", 2, "write nozzle below [printer]"),
        ("printer.nozle = 0.6\n", 1, "write nozzle"),
        ("[printer]\nnozzle = 60\n", 2, "0.01 to 20"),
        ("[printer]\nnozzle = true\n", 2, "cannot be True"),
        ("[printer]\nnozzle = nan\n", 2, "nan"),
        ('[printer]\nnozzle = "wide"\n', 2, "'wide' is not a length"),
        ("[limits]\nfloor_layers = 2.5\n", 2, "a whole number"),
        ('[furnace]\nbox = "90x60"\n', 2, "length x width x height"),
        ("[furnace]\nbox = [80, 60, -50]\n", 2, "cannot be"),
        ("[calibration]\nrow = 3\n", 2, "a text in quotes"),
        ("[printer]\nnozzle 0.6\n", 2, "cannot be read as TOML"),
        ("[printer]\nnozzle = 0.6\nnozzle = 0.8\n", 3, "cannot be read as TOML"),
    ],
)
def test_what_is_wrong_is_named_with_its_line(
    tmp_path: Path, text: str, line: int, said: str
) -> None:
    path = write(tmp_path, text)
    with pytest.raises(SettingError) as refused:
        read_settings(path)
    assert refused.value.where == f"{path}, line {line}"
    assert said in str(refused.value)


def test_a_furnace_is_a_box_or_round(tmp_path: Path) -> None:
    path = write(tmp_path, '[furnace]\nbox = "80x60x50"\ncrucible = "90x60"\n')
    with pytest.raises(SettingError, match="given twice"):
        read_settings(path)


def test_what_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "shrinkrule.toml"
    path.write_bytes(b"\xff\xfe[\x00")
    with pytest.raises(FileError, match="UTF-8"):
        read_settings(path)


def test_the_nearest_folder_above_is_looked_in_and_then_the_user(
    tmp_path: Path, no_settings_of_the_user: Path
) -> None:
    far = write(tmp_path, "[printer]\nnozzle = 0.4\n")
    own = write(no_settings_of_the_user / "shrinkrule", "[printer]\nnozzle = 0.8\n")
    deep = tmp_path / "jobs" / "lever"
    deep.mkdir(parents=True)
    assert [f.name for f in files_for(deep / "lever.stl")] == [str(far), str(own)]
    near = write(tmp_path / "jobs", "[printer]\nnozzle = 0.5\n")
    assert [f.name for f in files_for(deep)] == [str(near), str(own)]
    assert Settings.for_model(deep / "lever.stl").number("printer.nozzle") == 0.5


def test_what_is_written_is_read_back_the_same(tmp_path: Path) -> None:
    """A row's name with quotes and letters of any language comes back as it was."""
    path = write(
        tmp_path,
        '[printer]\nnozzle = 0.45\n[calibration]\ntable = "t/a.csv"\n'
        "row = 'bronze \"drei\" ü'\n[limits]\nfloor_layers = 5\n",
    )
    before = read_settings(path)
    text = settings_text(Settings.for_model(tmp_path), tmp_path)
    path.write_text(text, encoding="utf-8")
    assert dict(read_settings(path).values) == dict(before.values)


def test_every_key_is_written_with_its_meaning_and_an_example_that_holds(tmp_path: Path) -> None:
    text = settings_text(Settings.for_model(tmp_path), tmp_path)
    assert tomllib.loads(text) == {section: {} for section in {k.section for k in KEYS.values()}}
    for key in KEYS.values():
        assert f"# {key.meaning}\n# {key.short} = {key.example}\n" in text
        stated = tomllib.loads(f"value = {key.example}")["value"]
        assert key.parse(stated, "") is not None


def test_a_folder_that_may_not_be_entered_holds_no_settings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another user's home, or a folder above the model; root may enter all, so it is told here."""
    (tmp_path / "shrinkrule.toml").write_text("[printer]\nnozzle = 0.8\n", encoding="utf-8")
    (tmp_path / "closed").mkdir()
    looked = Path.is_file

    def is_file(path: Path) -> bool:
        if path.parent != tmp_path:
            raise PermissionError(13, "Permission denied", str(path))
        return looked(path)

    monkeypatch.setattr(Path, "is_file", is_file)
    (found,) = files_for(tmp_path / "closed" / "part.stl")
    assert found.values == {"printer.nozzle": 0.8}

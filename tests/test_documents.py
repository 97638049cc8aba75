"""What the documents name exists: functions of the walks, files, links."""

import importlib
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
WALKS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("## Three walks")[1]
NAMES = sorted(set(re.findall(r"`((?:daq|simulators|firmware_protocol)(?:\.\w+)+)`", WALKS)))


@pytest.mark.parametrize("name", NAMES)
def test_every_function_of_the_three_walks_exists(name):
    parts = name.split(".")
    for at in range(len(parts), 0, -1):
        try:
            found = importlib.import_module(".".join(parts[:at]))
        except ModuleNotFoundError:
            continue
        for attribute in parts[at:]:
            found = getattr(found, attribute)
        return
    raise AssertionError(name)


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md", "daq/engine/WISHES.md"])
def test_every_link_and_file_named_exists(page):
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert (ROOT / page).parent.joinpath(target).exists(), target
    for path in re.findall(
        r"`((?:daq|simulators|tests|config|firmware_protocol|\.ci)/[\w./-]+)`", text
    ):
        assert (ROOT / path).exists(), path


def test_the_wishes_page_lists_the_table():
    from daq.engine.wishes import FIELDS

    text = (ROOT / "daq/engine/WISHES.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^\| `(\w+)`", text, re.MULTILINE)) == set(FIELDS)


def test_the_readme_opens_with_the_job():
    assert (ROOT / "README.md").read_text(encoding="utf-8").startswith("# berm\n\nA small team")

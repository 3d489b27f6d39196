"""The guide is complete and its links lead somewhere: commands, keys, tables, columns, settings, files."""

import configparser
import json
import re
import typing
from pathlib import Path

import pytest
from pydantic import BaseModel

from skyglint.cli.app import COMMANDS
from skyglint.echoes.echo import CLASSES
from skyglint.echoes.settings import settings_table
from skyglint.horizon import levels
from skyglint.report.tables import COVERAGE_COLUMNS, ECHO_COLUMNS, RATE_COLUMNS
from skyglint.simulate.scenario import Scenario
from skyglint.site import Site, parse_site
from skyglint.station.notices import Notice, body_of
from skyglint.store.schema import metadata
from skyglint.transmitters import own_csv
from skyglint.web import api, live_api, machines

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
GUIDE = DOCS / "guide"
PAGES = sorted(path for path in DOCS.rglob("*.md") if "_build" not in path.parts)
MOST_PICTURE_BYTES = 300_000


def read(page: Path) -> str:
    return page.read_text(encoding="utf-8")


def named(page: Path) -> str:
    return str(page.relative_to(ROOT))


def section(page: str, heading: str) -> str:
    """Return the text under a heading that holds the words, up to the next of the same level or above."""
    found = re.search(
        rf"^(#+) [^\n]*{re.escape(heading)}[^\n]*\n(.*?)(?=^#{{1,3}} |\Z)", read(GUIDE / page), re.M | re.S
    )
    assert found, f"{page} has no heading with {heading}"
    return found[2]


def tables(whole: type[BaseModel]) -> list[tuple[str, str, type[BaseModel]]]:
    """Return the tables of a file: name, heading in the guide, model."""
    found = []
    for name, field in whole.model_fields.items():
        kinds = [field.annotation, *typing.get_args(field.annotation)]
        (model,) = (kind for kind in kinds if isinstance(kind, type) and issubclass(kind, BaseModel))
        several = typing.get_origin(field.annotation) is tuple
        found.append((name, f"[[{name}]]" if several else f"[{name}]", model))
    return found


def keys(page: str, whole: type[BaseModel]) -> list[object]:
    return [
        pytest.param(page, heading, key, field, id=f"{name}.{key}")
        for name, heading, model in tables(whole)
        for key, field in model.model_fields.items()
    ]


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_documented(command):
    assert f"`skyglint {command}" in read(GUIDE / "commands.md")


@pytest.mark.parametrize("page", [ROOT / "README.md", *PAGES], ids=named)
def test_documented_commands_exist(page):
    text = read(page)
    shown = re.findall(r"(?:^\$ (?:\.venv/bin/)?|`)skyglint ([a-z]+)", text, re.M)
    assert [name for name in shown if name not in COMMANDS] == []
    targets = re.findall(r"(?:^\$ |`)make ([a-z]+)", text, re.M)
    makefile = read(ROOT / "Makefile")
    assert [name for name in targets if not re.search(rf"^{name}:", makefile, re.M)] == []


@pytest.mark.parametrize(
    ("page", "heading", "key", "field"), [*keys("site-file.md", Site), *keys("simulate.md", Scenario)]
)
def test_every_key_is_documented_with_its_default(page, heading, key, field):
    text = section(page, f"{heading}: ") if page == "simulate.md" else section(page, heading)
    row = re.search(rf"^\| `{key}` \| [^|]* \| ([^|]*) \| \S", text, re.M)
    assert row, f"{page}: {heading} has no row for {key}"
    stated = row[1].strip()
    if field.is_required():
        assert stated == "required"
    elif field.default_factory is None and field.default is not None:
        value = {True: "true", False: "false"}.get(field.default) if isinstance(field.default, bool) else field.default
        number = isinstance(value, int | float)
        assert (float(stated.strip("`")) if number else stated.strip('`"')) == value


@pytest.mark.parametrize("columns", [ECHO_COLUMNS, COVERAGE_COLUMNS, RATE_COLUMNS], ids=["echoes", "coverage", "rates"])
def test_every_column_is_documented(columns, request):
    text = section("files.md", request.node.callspec.id)
    documented = re.findall(r"^\| `([a-z_]+)` \|", text, re.M)
    assert documented == [column.name for column in columns]


def test_every_column_that_people_bring_is_documented():
    text = section("files.md", "Measured levels")
    assert [name for name in levels.COLUMNS if f"`{name}`" not in text] == []
    text = section("plan.md", "My own list")
    assert [name for name in own_csv.NEEDED if f"`{name}`" not in text] == []


def test_every_address_of_the_open_data_is_documented():
    routes = {route.path for module in (api, live_api, machines) for route in module.router.routes}
    assert [path for path in sorted(routes) if f"`{path}`" not in read(GUIDE / "watch.md")] == []


def test_every_table_of_the_database_is_documented():
    text = section("files.md", "The database")
    assert [name for name in metadata.tables if f"`{name}`" not in text] == []


@pytest.mark.parametrize("setting", settings_table(), ids=lambda setting: setting[0])
def test_every_detection_setting_is_documented(setting):
    name, default, unit, meaning = setting
    assert f"| `{name}` | {default:g} | {unit} | {meaning} |" in read(GUIDE / "classes.md")


@pytest.mark.parametrize("name", CLASSES)
def test_every_class_is_documented(name):
    assert f"| `{name}` |" in read(GUIDE / "classes.md")


def test_example_site_files_are_valid():
    whole = re.findall(r"```toml\n(.*?)```", read(GUIDE / "first-night.md"), re.S)[0]
    site = parse_site(whole)
    unattended = re.findall(r"```toml\n(.*?)```", read(GUIDE / "watch.md"), re.S)[0]
    site = parse_site(unattended + whole)
    assert site.notices is not None
    assert site.notices.template is not None


def test_example_notice_template_gives_json():
    template = re.search(r"template = '(.*)'", read(GUIDE / "watch.md"))
    assert template
    notice = Notice(1_786_579_200.0, "strong-echo", 'an echo of "north-sea"')
    assert json.loads(body_of(notice, "Harrow Fell", template[1])) == {"text": 'Harrow Fell: an echo of "north-sea"'}


@pytest.mark.parametrize("page", [ROOT / "README.md", ROOT / "CHANGELOG.md", *PAGES], ids=named)
def test_every_internal_link_leads_somewhere(page):
    wrong = []
    for target in re.findall(r"\]\(([^)\s]+)\)", read(page)):
        path, _, anchor = target.partition("#")
        if "://" in target:
            continue
        aim = (page.parent / path).resolve() if path else page
        if not aim.exists() or (anchor and anchor not in anchors(aim)):
            wrong.append(target)
    assert wrong == []


def anchors(page: Path) -> set[str]:
    headings = re.findall(r"^#+ (.*)$", read(page), re.M)
    return {re.sub(r"[^a-z0-9 -]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", [page for page in PAGES if page.parent != DOCS], ids=named)
def test_every_page_stands_in_a_table_of_contents(page):
    contents = read(DOCS / "index.md") + read(DOCS / "design" / "index.md").replace("\n", "\ndesign/")
    assert f"{page.parent.name}/{page.stem}\n" in contents


def test_pictures_are_small_and_used():
    pictures = sorted((DOCS / "images").iterdir())
    shown = "".join(read(page) for page in [ROOT / "README.md", *PAGES])
    assert [path.name for path in pictures if path.stat().st_size > MOST_PICTURE_BYTES] == []
    assert [path.name for path in pictures if f"images/{path.name}" not in shown] == []


def test_service_unit_runs_what_exists_and_is_hardened():
    unit = configparser.ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str
    unit.read(ROOT / "packaging" / "skyglint.service", encoding="utf-8")
    service = unit["Service"]
    assert service["ExecStart"].split()[1] in COMMANDS
    assert service["User"] != "root"
    assert {service[key] for key in ("NoNewPrivileges", "ProtectHome", "PrivateTmp")} == {"yes"}
    assert service["ProtectSystem"] == "strict"

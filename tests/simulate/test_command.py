import typer
from typer.testing import CliRunner

from skyglint.cli.simulate import run
from skyglint.errors import RequestError, ScenarioError

SCENARIO = """
[recording]
start_utc = "2026-08-13T03:40:00Z"
duration_s = 0.5
sample_rate_hz = 250_000
center_frequency_hz = 98_000_000
"""


def invoke(*arguments):
    app = typer.Typer()
    app.command()(run)
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def test_writes_the_recording_and_its_truth_without_a_bar_in_a_pipe(tmp_path):
    (tmp_path / "a.toml").write_text(SCENARIO)
    result = invoke(tmp_path / "a.toml", "--to", tmp_path / "night", "--seed", 3)
    assert result.exit_code == 0
    assert result.stdout.count("\n") == 1
    assert "night.truth.csv" in result.stdout
    assert result.stderr == ""
    assert {path.name for path in tmp_path.iterdir()} == {
        "a.toml",
        "night.sigmf-meta",
        "night.sigmf-data",
        "night.truth.csv",
    }


def test_refuses_to_replace_and_replaces_by_force(tmp_path):
    (tmp_path / "a.toml").write_text(SCENARIO)
    assert invoke(tmp_path / "a.toml", "--to", tmp_path / "night").exit_code == 0
    assert isinstance(invoke(tmp_path / "a.toml", "--to", tmp_path / "night").exception, RequestError)
    assert invoke(tmp_path / "a.toml", "--to", tmp_path / "night", "--force").exit_code == 0


def test_a_faulty_scenario(tmp_path):
    (tmp_path / "a.toml").write_text(SCENARIO.replace("0.5", "-1"))
    assert isinstance(invoke(tmp_path / "a.toml", "--to", tmp_path / "night").exception, ScenarioError)


def test_help_shows_an_example():
    assert "skyglint simulate scenario.toml --to morning" in invoke("--help").stdout

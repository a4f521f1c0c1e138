"""`tripplan gas`: its JSON, its words, its exit codes, and one line for what it refuses."""

from __future__ import annotations

import json

import pytest

from tripplan.cli import main

DIVE = ["gas", "--depth", "12", "--minutes", "15", "--cylinder", "12", "--fill", "200"]


def answer(capsys, *more: str) -> tuple[int, dict]:
    code = main([*DIVE, *more, "--json"])
    printed = capsys.readouterr()
    assert printed.err == ""
    return code, json.loads(printed.out)


def test_the_answer_holds_what_the_command_promises(capsys):
    code, found = answer(capsys)
    assert code == 0
    assert {"contents_l", "needed_l", "minimum_gas_bar", "turn_bar", "checks"} <= found.keys()
    assert found["contents_l"] == pytest.approx(
        12 * 200, rel=0.07
    )  # volume times pressure, less what heat and density take
    assert found["contents_l"] >= found["needed_l"]
    assert 50 < found["minimum_gas_bar"] < found["turn_bar"] < 200
    assert {check["rule"] for check in found["checks"]} == {
        "gas-enough", "gas-turn", "gas-hot-fill", "gas-fill-pressure", "oxygen-partial-pressure",
    }  # fmt: skip


def test_too_little_gas_is_exit_1_and_says_by_how_much(capsys):
    code, found = answer(capsys, "--rate", "60")
    assert code == 1
    check = next(check for check in found["checks"] if check["rule"] == "gas-enough")
    assert check["outcome"] == "stop"
    assert check["found"] == found["contents_l"] < found["needed_l"] == check["limit"]
    assert "too little" in check["sentence"]


def test_a_gas_too_rich_for_the_depth_is_exit_1(capsys):
    code, _ = answer(capsys, "--depth", "34.5", "--minutes", "1", "--cylinder", "40", "--oxygen", "32")
    assert code == 1


@pytest.mark.parametrize(
    "more, key, more_of_it",
    [(["--swim", "10"], "needed_l", True), (["--minutes", "20"], "needed_l", True),
     (["--rate", "25"], "needed_l", True),
     (["--water", "fresh"], "needed_l", False), (["--temperature", "45"], "contents_l", False),
     (["--temperature", "0"], "contents_l", True), (["--altitude", "2000"], "contents_l", False),
     (["--oxygen", "32"], "contents_l", True), (["--cylinder", "15"], "minimum_gas_bar", False),
     (["--water-temperature", "4", "--temperature", "40"], "fill_in_water_bar", False)],
)  # fmt: skip
def test_each_option_moves_the_answer_the_right_way(more, key, more_of_it, capsys):
    _, plain = answer(capsys)
    _, changed = answer(capsys, *more)
    assert changed[key] != plain[key]
    assert (changed[key] > plain[key]) is more_of_it


def test_a_centres_own_rules_count(capsys, tmp_path):
    file = tmp_path / "rules.toml"
    file.write_text('[gas.rate_l_min]\nvalue = 30.0\nreason = "beginners"\n', encoding="utf-8")
    _, plain = answer(capsys)
    _, own = answer(capsys, "--rules", str(file))
    assert own["needed_l"] > plain["needed_l"]


def test_a_centre_may_raise_the_pressure_to_surface_with(capsys, tmp_path):
    file = tmp_path / "rules.toml"
    file.write_text('[gas.shared_surface_with_bar]\nvalue = 20.0\nreason = "house"\n', encoding="utf-8")
    _, plain = answer(capsys)
    _, own = answer(capsys, "--rules", str(file))
    assert own["minimum_gas_bar"] == plain["minimum_gas_bar"] + 10


def test_the_words_say_turn_and_minimum_and_every_check(capsys):
    assert main(DIVE) == 0
    printed = capsys.readouterr().out
    _, found = answer(capsys)
    assert f"Turn at {found['turn_bar']} bar; leave the bottom at {found['minimum_gas_bar']} bar" in printed
    for check in found["checks"]:
        assert check["sentence"] in printed


def test_a_cylinder_too_small_says_so_in_words_and_as_null(capsys):
    small = ["--cylinder", "2", "--depth", "40"]
    assert main([*DIVE, *small]) == 1
    assert "use a larger cylinder" in capsys.readouterr().out
    code, found = answer(capsys, *small)
    assert (code, found["minimum_gas_bar"], found["turn_bar"]) == (1, None, None)


@pytest.mark.parametrize(
    "more, words",
    [(["--depth", "0"], "depth is 0 m"), (["--depth", "101"], "depth is 101 m"), (["--depth", "deep"], "deep"),
     (["--depth", "nan"], "nan"), (["--minutes", "0"], "bottom time is 0 min"),
     (["--minutes", "241"], "from 1 to 240 min"),
     (["--cylinder", "0"], "cylinder is 0 l"), (["--cylinder", "41"], "from 1 to 40 l"),
     (["--fill", "0"], "fill is 0 bar"),
     (["--fill", "351"], "from 1 to 350 bar"), (["--fill", "inf"], "inf"), (["--rate", "4"], "from 5 to 100 l/min"),
     (["--rate", "101"], "rate is 101"), (["--oxygen", "10"], "oxygen is 10 %"),
     (["--oxygen", "50"], "oxygen is 50 %"),
     (["--water", "mud"], "mud"), (["--altitude", "9000"], "altitude is 9000 m"), (["--altitude", "-500"], "altitude"),
     (["--swim", "-1"], "swim is -1 min"), (["--temperature", "80"], "cylinder temperature is 80"),
     (["--water-temperature", "50"], "water temperature is 50"), (["--rules", "nowhere.toml"], "nowhere.toml")],
)  # fmt: skip
def test_refused_input_is_one_line_and_exit_2(more, words, capsys):
    assert main([*DIVE, *more]) == 2
    printed = capsys.readouterr()
    assert printed.out == ""
    assert len(printed.err.splitlines()) == 1
    assert words in printed.err


def test_a_missing_option_is_one_line_and_exit_2(capsys):
    assert main(DIVE[:-2]) == 2
    printed = capsys.readouterr()
    assert len(printed.err.splitlines()) == 1 and "--fill" in printed.err

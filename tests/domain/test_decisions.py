from __future__ import annotations

import pytest

from casebook.domain import decisions as module
from casebook.domain.decisions import (
    Asked,
    Asks,
    Choice,
    Decision,
    Decisions,
    Question,
    Shown,
    about_of,
    choice_words,
)
from casebook.domain.errors import InputRefused


def a_question(
    kind: Asks = Asks.VALUE,
    about: tuple[str, ...] = ("R/1", "2026-01-05", "1", "bend", "left"),
    given: str = "12°",
) -> Question:
    return Question(
        kind=kind,
        about=about,
        title="Bend left on 5 January",
        shown=(Shown(where="stored", what="10°"), Shown(where="file", what=given)),
        choices=(Choice.KEEP, Choice.TAKE, Choice.LEAVE_OUT),
    )


def test_a_key_gives_back_what_it_is_about_and_changes_with_what_was_shown() -> None:
    question = a_question()
    assert about_of(question.key) == ("value", question.about)
    assert a_question(given="13°").key != question.key


def test_a_decision_of_its_own_comes_before_one_for_all_of_its_kind() -> None:
    question, other = a_question(), a_question(given="13°")
    decided = Decisions(
        by_key={question.key: Decision(choice=Choice.TAKE, reason="read again")},
        for_all={Asks.VALUE: Decision(choice=Choice.KEEP)},
    )
    assert decided
    assert decided.of(question) == Decision(choice=Choice.TAKE, reason="read again")
    assert decided.of(other) == Decision(choice=Choice.KEEP)
    assert Decisions().of(question) is None
    assert not Decisions()


def test_taking_the_files_needs_a_reason() -> None:
    with pytest.raises(InputRefused, match="say why"):
        Decisions(by_key={"value/x~1": Decision(choice=Choice.TAKE, reason=" ")})


def test_what_only_one_question_can_settle_is_not_settled_for_all() -> None:
    with pytest.raises(InputRefused, match="at once"):
        Decisions(for_all={Asks.RUNNER: Decision(choice=Choice.SAME)})


def test_an_answer_that_the_question_does_not_have_is_refused() -> None:
    question = a_question()
    with pytest.raises(InputRefused, match="no answer to"):
        Decisions(by_key={question.key: Decision(choice=Choice.FIRST)}).of(question)


def test_leaving_out_says_what_goes_with_it() -> None:
    assert choice_words(Asks.VALUE, Choice.LEAVE_OUT) == "leave the file's whole visit out"
    assert choice_words(Asks.CONDITION_TWICE, Choice.LEAVE_OUT) == "leave it out"
    assert choice_words(Asks.VALUE, Choice.KEEP) == "keep what is stored"
    assert choice_words(Asks.STRUCK_OUT, Choice.KEEP) == "keep it out"


def test_visits_and_runners_left_out_and_runners_who_are_one_are_told() -> None:
    value = a_question()
    same = a_question(Asks.RUNNER, ("r1", "R1"))
    chained = a_question(Asks.RUNNER, ("r 1", "r1"))
    out = a_question(Asks.RUNNER, ("x", "X"))
    decided = Decisions(
        by_key={
            value.key: Decision(choice=Choice.LEAVE_OUT),
            same.key: Decision(choice=Choice.SAME),
            chained.key: Decision(choice=Choice.SAME),
            out.key: Decision(choice=Choice.LEAVE_OUT),
        }
    )
    assert decided.left_out_visits() == {("R/1", "2026-01-05", "1")}
    assert decided.left_out_runners() == {"x"}
    assert decided.same_runners() == {"r1": "R1", "r 1": "R1"}


def test_runners_who_stand_for_one_another_in_a_circle_end() -> None:
    one, two = a_question(Asks.RUNNER, ("a", "b")), a_question(Asks.RUNNER, ("b", "a"))
    decided = Decisions(
        by_key={one.key: Decision(choice=Choice.SAME), two.key: Decision(choice=Choice.SAME)}
    )
    assert set(decided.same_runners()) == {"a", "b"}


def test_what_is_not_decided_stands_open_and_is_counted_beyond_the_list(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(module, "MOST_ASKED", 1)
    asked = Asked()
    assert not asked.idle
    assert asked.ask(a_question()) is None
    assert asked.ask(a_question(given="13°")) is None
    assert (len(asked.open), asked.count, asked.idle) == (1, 2, True)
    question = a_question()
    decided = Asked(decisions=Decisions(by_key={question.key: Decision(choice=Choice.KEEP)}))
    assert decided.ask(question) == Decision(choice=Choice.KEEP)
    assert (decided.open, decided.count) == ([], 0)

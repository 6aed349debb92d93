"""What is said where the log doesn't answer a question?"""

from __future__ import annotations

from fleet.answer import Answer

NOT_ENOUGH = "There isn't enough in the log to answer this yet."


def not_enough(reason: str = "") -> str:
    """Return the sentence for what can't be estimated, with its reason where there is one."""
    return f"{NOT_ENOUGH} {reason}".strip()


def with_first_note(answer: Answer) -> str:
    """Return the sentence for an answer in which nothing could be estimated, with its first note as the reason."""
    return not_enough(answer.notes[0] if answer.notes else "")

"""What a name comes to when case, accents, spaces, punctuation and leading zeros don't count: the rule in Python.

``sql/names.sql`` is the same rule for whole columns; tests/unit/test_names.py holds the two together.
"""

from __future__ import annotations

import re
import unicodedata


def plain_name(text: str) -> str:
    """Return a name without what doesn't tell two names apart; what stands between two numbers does.

    Examples
    --------
    >>> plain_name("JC-0104"), plain_name("jc 104"), plain_name("1-12"), plain_name("11-2")
    ('jc104', 'jc104', '1 12', '11 2')
    """
    letters = "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c)).lower()
    spaced = re.sub(r"[\W_]+", " ", letters).strip()
    return re.sub(r" +(?=[^0-9])|(?<=[^0-9]) +", "", re.sub(r"(^|[^0-9])0+(?=[0-9])", r"\1", spaced))

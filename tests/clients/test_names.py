"""Names of clients as names of files."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchdose.clients.names import alike, safe_name, safe_names

#: What Windows reserves and forbids (Microsoft, "Naming Files, Paths, and Namespaces", from memory).
RESERVED = {"con", "prn", "aux", "nul", *(f"{device}{n}" for device in ("com", "lpt") for n in range(10))}
FORBIDDEN = set('<>:"/\\|?*') | {chr(code) for code in range(32)}
NAMES = st.one_of(
    st.text(max_size=300),
    st.sampled_from(["CON", "nul.txt", "LPT¹", "..", ".", "", " ", "a/b", "a\\b", "Hill.", "hill", "HILL", "ﬁeld"]),
)  # fmt: skip


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("Hill Farm", "Hill Farm"), ("Château d'Été", "Château d'Été"), ("a/b\\c:d", "a-b-c-d"),
        ("COM1.old", "_COM1.old"),
        ("../../etc", "-..-etc"), ("tab\there", "tab-here"), ("ends. ", "ends"), ("农场", "农场"),
    ],
)  # fmt: skip
def test_a_name_keeps_what_every_system_takes(name, safe):
    assert safe_name(name) == safe


@given(st.lists(NAMES, max_size=12))
def test_safe_names_are_valid_everywhere_and_differ_everywhere(names):
    safe = safe_names(names)
    assert set(safe) == set(names)
    for text in safe.values():
        assert text
        assert not FORBIDDEN & set(text)
        assert text.split(".")[0].casefold() not in RESERVED
        assert text == text.strip(" .") or not text.strip(" .")
        assert len(text.encode()) <= 90
    folded = [unicodedata.normalize("NFKC", text).casefold() for text in safe.values()]
    assert len(set(folded)) == len(folded)


def test_names_that_are_perhaps_one_client_are_found():
    assert alike(["Hill", "HILL", "Dale", "Hill"]) == [["Hill", "HILL"]]
    assert alike(["Hill", "Hill"]) == []

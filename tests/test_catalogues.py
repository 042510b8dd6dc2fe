"""Every message is in the catalogues of every language, translated in full, with the same placeholders."""

from __future__ import annotations

import ast
import re

import pytest
from make_catalogues import FILES, ROOT, bring_up_to_date, folder_of, is_translated, messages, read_catalogue

from batchdose.texts import ENGLISH, LANGUAGES

OTHERS = [language for language in LANGUAGES if language != ENGLISH]
ALL_FILES = [(language, name) for language in OTHERS for name in FILES]
CALLS = ("say", "say_many", "say_local", "mark", "mark_many")


def forms(text):
    return text if isinstance(text, tuple) else (text,)


def placeholders(text):
    return set(re.findall(r"\{(\w+)\}", text))


@pytest.mark.parametrize("language", OTHERS)
def test_the_catalogues_hold_every_message_and_no_other(language):
    for name, content in bring_up_to_date(language, tidy=True).items():
        assert (folder_of(language) / name).read_bytes() == content, "run python tests/make_catalogues.py --tidy"


@pytest.mark.parametrize(("language", "name"), ALL_FILES)
def test_every_message_is_translated(language, name):
    assert not [entry.id for entry in read_catalogue(language, name) if entry.id and not is_translated(entry)]


@pytest.mark.parametrize(("language", "name"), ALL_FILES)
def test_a_translation_has_the_placeholders_of_its_message(language, name):
    for message in read_catalogue(language, name):
        if message.id:
            one, many = forms(message.id)[0], forms(message.id)[-1]
            # One animal may be said without its figure; several may not.
            assert placeholders(forms(message.string)[-1]) == placeholders(many), message.id
            assert placeholders(forms(message.string)[0]) <= placeholders(one) | placeholders(many), message.id
            assert not any("{" in re.sub(r"\{\w+\}", "", text) for text in forms(message.string)), message.id


@pytest.mark.parametrize(("language", "name"), ALL_FILES)
def test_a_translation_begins_and_ends_as_its_message(language, name):
    for message in read_catalogue(language, name):
        for text in forms(message.string) if message.id else ():
            said = forms(message.id)[0]
            assert (text[0].isspace(), text[-1].isspace()) == (said[0].isspace(), said[-1].isspace()), message.id
            assert text.endswith(".") == said.endswith("."), message.id


@pytest.mark.parametrize("name", FILES)
def test_no_line_of_french_begins_with_a_mark(name):
    # A colon, semicolon, question or exclamation mark has a space before it in French, which must not break.
    texts = [text for entry in read_catalogue("fr", name) for text in forms(entry.string) if entry.id]
    assert not [text for text in texts if re.search(r"[^\u00a0][:;?!»]|«[^\u00a0]", re.sub(r"\d:\d", "", text))]


def test_a_message_is_one_text_that_can_be_found():
    # A sentence put together before it is said is in no catalogue, nor one that is said inside an f-string.
    wrong, known = [], messages()
    for path in (ROOT / "batchdose").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            name = getattr(getattr(node, "func", None), "id", "")
            if name in CALLS and not _is_found(node.args[0], known):
                wrong.append(f"{path.name}:{node.lineno}")
    assert not wrong


def _is_found(message, known):
    if isinstance(message, ast.Constant):
        return message.value in known
    return isinstance(message, ast.Name | ast.Attribute | ast.Subscript | ast.Starred | ast.Call | ast.IfExp)


def test_one_message_has_one_form_for_several():
    assert all(message.one for message in messages().values())

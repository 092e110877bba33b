import json
import socket
import stat

import pytest
from click.testing import CliRunner

from visual_aid.cli import main
from visual_aid.pages import server
from visual_aid.pages.people import Person, add_person, check_anybody, people_file, person, remove_person

PASSWORD = "nut and bolt 24"


@pytest.fixture
def file(tmp_path):
    add_person(tmp_path / "yard-people.json", "J. Doe", "lead", PASSWORD)
    return tmp_path / "yard-people.json"


def test_only_name_and_password_together_are_right(file):
    assert person(file, "J. Doe", PASSWORD) == Person("J. Doe", "lead")
    for name, password in (("J. Doe", "nut and bolt 25"), ("R. Roe", PASSWORD), ("", ""), ("J. Doe", "")):
        assert person(file, name, password) is None


def test_no_password_is_in_the_file_and_nobody_else_reads_it(file):
    text = file.read_text()
    assert PASSWORD not in text
    # RFC 9106 names Argon2id; the encoding is that of its reference implementation.
    assert json.loads(text)["J. Doe"]["password"].startswith("$argon2id$v=19$")
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_a_new_password_replaces_the_old_and_a_person_can_be_removed(file):
    add_person(file, "J. Doe", "reviewer", "another one 7")
    assert person(file, "J. Doe", PASSWORD) is None
    assert person(file, "J. Doe", "another one 7").role == "reviewer"
    remove_person(file, "J. Doe")
    with pytest.raises(ValueError, match="names nobody"):
        check_anybody(file)
    with pytest.raises(ValueError, match="is not in"):
        remove_person(file, "J. Doe")


@pytest.mark.parametrize("text", ["", "[]", "{", '{"a": 1}', '{"a": {"role": "king", "password": "x"}}'])
def test_another_file_is_refused_and_kept(file, text):
    file.write_text(text)
    with pytest.raises(ValueError, match="is no file of people"):
        add_person(file, "R. Roe", "lead", PASSWORD)
    assert file.read_text() == text


def test_the_command_asks_for_the_password(tmp_path):
    store = str(tmp_path / "yard.sqlite")
    said = CliRunner().invoke(
        main, ["person", "R. Roe", "--role", "trainer", "--store", store], input=f"{PASSWORD}\n{PASSWORD}\n"
    )
    assert said.exit_code == 0
    assert PASSWORD not in said.output
    assert person(people_file(store), "R. Roe", PASSWORD) == Person("R. Roe", "trainer")
    assert CliRunner().invoke(main, ["person", "X", "--store", store], input="short\nshort\n").exit_code == 2
    assert CliRunner().invoke(main, ["person", "R. Roe", "--store", store, "--remove"]).exit_code == 0


def test_the_page_is_not_opened_to_others_before_somebody_may_sign_in(tmp_path, monkeypatch):
    monkeypatch.setattr(server.st.App, "run", lambda *_, **__: pytest.fail("it was opened"))
    store = tmp_path / "yard.sqlite"
    said = CliRunner().invoke(main, ["app", "--lan", "--store", str(store)])
    assert said.exit_code == 2
    assert "names nobody who may sign in" in said.output
    assert "Other machines reach this page" not in said.output
    add_person(people_file(str(store)), "L. Ead", "lead", PASSWORD)
    monkeypatch.setattr(server, "serve", lambda *_: None)
    said = CliRunner().invoke(main, ["app", "--lan", "--port", "8765", "--store", str(store)])
    assert said.exit_code == 0
    assert f"http://{socket.gethostname()}:8765" in said.output
    assert "everyone has to sign in" in said.output
    assert "unencrypted" in said.output
    said = CliRunner().invoke(main, ["app", "--people", str(tmp_path / "p.json")])
    assert (said.exit_code, "--people is for --lan" in said.output) == (2, True)

"""Which passwords are taken, how they are kept, and that asking for one tells nothing by its time."""

from typing import Literal

import pytest
from argon2 import PasswordHasher, extract_parameters
from argon2.profiles import CHEAPEST

from app.actions import passwords
from app.errors import Refused
from app.store.people import Person
from tests.actions.people_cast import NOW, PASSWORD


@pytest.mark.parametrize(
    ("password", "why"),
    [
        (PASSWORD, None),  # four words that do not belong together; no digit, no capital, no sign
        ("k7#PqWm2v!Zr", None),  # of any characters
        ("ъёщфывапролд нет ягода", None),  # of any script
        ("a bcd efg hi", None),  # exactly twelve
        ("short words", "12 to 256"),  # eleven
        ("long words go " * 19, "12 to 256"),  # 266
        ("123456789012", "guessed first"),  # a row of digits
        ("qwertyuiop[]", "guessed first"),  # a row of keys
        ("passwordpassword", "guessed first"),  # a common one twice
        ("Password1234!", "guessed first"),  # one that rules of composition like
        ("aaaaaaaaaaaaaaaa", "guessed first"),  # the same again and again
        ("we love stencilbook", "contains"),  # the name of the program
        ("the house of ada example", "contains"),  # the person's name
        ("yard7 and yard8 trains", "contains"),  # a part of the address of mail
    ],
)
def test_a_password_is_taken_for_its_length_and_for_being_hard_to_guess(
    password: str, why: str | None
) -> None:
    fault = passwords.fault_of(password, "Ada Example", "yard7@people.invalid")
    assert (fault is None) if why is None else (why in (fault or ""))


def test_the_password_has_to_be_typed_twice_alike() -> None:
    with pytest.raises(Refused) as refused:
        passwords.check(PASSWORD, PASSWORD + ".", "Ada", "ada@people.invalid")
    assert [fault.path for fault in refused.value.faults] == ["again"]


def test_a_password_is_kept_as_argon2id_with_what_its_library_holds_to_be_right() -> None:
    person = Person()
    passwords.put(person, PASSWORD, NOW)
    assert person.password is not None
    assert PASSWORD not in person.password
    assert person.password.startswith("$argon2id$")
    ours, theirs = extract_parameters(person.password), PasswordHasher()
    assert (ours.memory_cost, ours.time_cost) == (theirs.memory_cost, theirs.time_cost)


def test_a_hash_with_older_parameters_is_right_and_is_made_anew() -> None:
    old = PasswordHasher.from_parameters(CHEAPEST).hash(PASSWORD)
    checked = passwords.matches(old, PASSWORD)
    assert checked.right
    assert checked.renewed is not None
    assert passwords.matches(checked.renewed, PASSWORD) == passwords.Checked(True, None)


@pytest.mark.parametrize(
    ("password", "given"),
    [
        (PASSWORD, PASSWORD.title()),  # another one
        (PASSWORD, ""),  # none
        ("x" * 256, "x" * 300),  # beyond what was ever taken
    ],
)
def test_anything_else_is_wrong(password: str, given: str) -> None:
    kept = PasswordHasher().hash(password)
    assert passwords.matches(kept, given) == passwords.Checked(False, None)


@pytest.mark.parametrize("kept", [None, "", "not a hash"])
def test_nobody_and_a_spoilt_hash_have_no_password(kept: str | None) -> None:
    assert passwords.matches(kept, PASSWORD) == passwords.Checked(False, None)


def test_nobody_is_compared_as_somebody_is(monkeypatch: pytest.MonkeyPatch) -> None:
    compared: list[str] = []
    verify = PasswordHasher.verify

    def counted(hasher: PasswordHasher, kept: str | bytes, given: str | bytes) -> Literal[True]:
        compared.append(str(kept))
        return verify(hasher, kept, given)

    monkeypatch.setattr(PasswordHasher, "verify", counted)
    kept = PasswordHasher().hash(PASSWORD)
    for each in (kept, None):
        assert passwords.matches(each, "a wrong password") == passwords.Checked(False, None)
    # Somebody's hash and nobody's are of the same cost, so that one takes as long as the other.
    assert [extract_parameters(each) for each in compared] == [extract_parameters(kept)] * 2

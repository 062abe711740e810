"""The keeper's pages of people: accounts opened, changed and closed, passwords and tokens shown once."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from ledger.store.accounts import list_accounts
from tests.api.running import Service, running
from tests.pages.forms_sent import PASSWORD, Browser, give_password

SECRET = re.compile(r'<code class="serial">([^<]+)</code>')


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    """A running service."""
    with running(tmp_path_factory.mktemp("people"), public_per_minute=60_000, public_burst=10_000) as one:
        give_password(one, "admin")
        yield one


@pytest.fixture
def keeper(service: Service) -> Iterator[Browser]:
    """A browser where the keeper is signed in, on the page of people."""
    opened = Browser(service)
    opened.sign_in("The admin")
    opened.open("/people")
    yield opened
    opened.close()


def account_of(service: Service, name: str) -> str:
    """The id of the open account of a name."""
    return next(row.account for row in list_accounts(service.book.store) if row.name == name and row.closed_ms is None)


def secret(browser: Browser) -> str:
    """What a page shows once."""
    found = SECRET.search(browser.page.text)
    assert found is not None
    return found[1]


def test_a_person_is_let_in_and_chooses_a_password(service: Service, keeper: Browser) -> None:
    """Opened without a password typed, one is made and shown once; it is good for choosing another."""
    assert 200 == keeper.send("/people", name="Ann Lead", roles=["quality", "auditor"]).status_code
    first = secret(keeper)
    assert first not in keeper.open("/people").text
    person = Browser(service)
    assert 303 == person.sign_in("ann lead", first).status_code
    person.open("/account")
    person.send("/account/password", old=first, new=PASSWORD, again=PASSWORD)
    assert 200 == person.open("/devices").status_code
    person.close()


def test_a_password_that_was_typed_is_not_shown(service: Service, keeper: Browser) -> None:
    """The keeper typed it, so the page just goes on; the person must still change it."""
    answer = keeper.send("/people", name="Ben Line", roles="station", password="typed by the keeper")
    assert (303, "/people") == (answer.status_code, answer.headers["location"])
    person = Browser(service)
    person.sign_in("Ben Line", "typed by the keeper")
    assert "given to you by someone else" in person.open("/account").text
    person.close()


@pytest.mark.parametrize(
    ("name", "roles", "password", "told"),
    [
        ("", "desk", "", "A name is needed"), ("x" * 81, "desk", "", "A name is needed"),
        ("THE  desk", "desk", "", "Another account has this name"), ("Cy", [], "", "Choose at least one role"),
        ("Cy", "owner", "", "Choose at least one role"), ("Cy", "desk", "short", "12 to 128 characters"),
        ("Cy of the desk", "desk", "cy OF the desk", "12 to 128 characters"),
    ],
)  # fmt: skip
def test_accounts_that_cannot_be(
    service: Service, keeper: Browser, name: str, roles: str | list[str], password: str, told: str
) -> None:
    """No account is opened, the page says why, and what was typed still stands in the form, but no password."""
    before = len(list_accounts(service.book.store))
    answer = keeper.send("/people", name=name, roles=roles, password=password)
    assert (422, True, before) == (answer.status_code, told in answer.text, len(list_accounts(service.book.store)))
    assert name == keeper.found().fields["name"]["value"]
    assert not password or f'value="{password}"' not in answer.text


def test_roles_are_changed_and_hold_at_once(service: Service, keeper: Browser) -> None:
    """A person with a further role opens what it opens on the next request; nobody is left without a role."""
    give_password(service, "desk")
    person = Browser(service)
    person.sign_in("The desk")
    assert 403 == person.open("/devices").status_code
    address = f"/people/{account_of(service, 'The desk')}"
    keeper.open(address)
    assert 303 == keeper.send(f"{address}/roles", roles=["desk", "quality"]).status_code
    assert 200 == person.open("/devices").status_code
    keeper.open(address)
    answer = keeper.send(f"{address}/roles", roles=[])
    assert (422, True) == (answer.status_code, "Choose at least one role" in answer.text)
    person.close()


def test_keepers_do_not_shut_themselves_out(service: Service, keeper: Browser) -> None:
    """One's own role of keeper and one's own account stay."""
    address = f"/people/{account_of(service, 'The admin')}"
    keeper.open(address)
    answer = keeper.send(f"{address}/roles", roles="desk")
    assert (422, True) == (answer.status_code, "Let another keeper do it" in answer.text)
    assert f"{address}/close" not in keeper.found().forms
    token = dict(keeper.found().forms["/sign-out"])["form_token"]
    assert 422 == keeper.client.post(f"{address}/close", data={"form_token": token}).status_code
    assert 200 == keeper.open("/people").status_code


def test_a_closed_account_has_no_way_in(service: Service, keeper: Browser) -> None:
    """Session and password of a closed account are over at once; its page is gone."""
    give_password(service, "auditor")
    person = Browser(service)
    person.sign_in("The auditor")
    address = f"/people/{account_of(service, 'The auditor')}"
    keeper.open(address)
    assert 303 == keeper.send(f"{address}/close").status_code
    assert 303 == person.open("/account").status_code
    assert 401 == person.sign_in("The auditor").status_code
    assert 404 == keeper.open(address).status_code
    person.close()


def test_a_forgotten_password_is_replaced(service: Service, keeper: Browser) -> None:
    """The new one is shown once, the old one and its sessions are over."""
    give_password(service, "inspector")
    person = Browser(service)
    person.sign_in("The inspector")
    address = f"/people/{account_of(service, 'The inspector')}"
    keeper.open(address)
    keeper.send(f"{address}/password")
    given = secret(keeper)
    assert 303 == person.open("/account").status_code
    assert [401, 303] == [person.sign_in("The inspector", word).status_code for word in (PASSWORD, given)]
    person.close()


def test_tokens_are_made_and_ended(service: Service, keeper: Browser) -> None:
    """A token works from the moment it is shown until it is ended; only its digest stands on the page."""
    address = f"/people/{account_of(service, 'The station')}"
    keeper.open(address)
    keeper.send(f"{address}/tokens")
    token = secret(keeper)
    with service.client(token) as program:
        assert 200 == program.get("/lots/SL-1").status_code
        assert token not in keeper.open(address).text
        ended = [action for action in keeper.found().forms if action.endswith("/end")]
        assert 2 == len(ended)
        for action in ended:
            keeper.send(action)
        assert 401 == program.get("/lots/SL-1").status_code


def test_people_stand_in_the_order_of_their_names(keeper: Browser) -> None:
    """Whoever looks for a person finds them where the alphabet has them."""
    names = re.findall(r'<th scope="row"><a href="/people/[^"]+">([^<]+)</a>', keeper.open("/people").text)
    assert 3 < len(names)
    assert sorted(names, key=str.casefold) == names


def test_what_cannot_be_undone_is_ticked_first(service: Service, keeper: Browser) -> None:
    """A browser sends neither the end of a token nor the closing of an account before its box is ticked."""
    page = keeper.open(f"/people/{account_of(service, 'The desk')}").text
    for action in ("/close", "/end"):
        form = next(form for form in page.split("<form")[1:] if f'{action}"' in form.partition(">")[0])
        assert '<input type="checkbox" required>' in form.partition("</form>")[0]

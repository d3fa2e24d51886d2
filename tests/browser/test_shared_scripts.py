"""What ``static/js/app.js`` adds to every page, seen in a browser."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

STATIC = Path(__file__).parent.parent.parent / "static"
HOST = "http://kickplate.test"

pytestmark = pytest.mark.browser

Show = Callable[..., Page]


@pytest.fixture
def show(page: Page) -> Show:
    """Opens a page with these words in its main part, and the scripts as they are in the tree."""

    def _show(main: str, answers: dict[str, str] | None = None) -> Page:
        def answer(route: Route) -> None:
            path = route.request.url.removeprefix(HOST)
            if path.startswith("/static/"):
                route.fulfill(path=STATIC / path.removeprefix("/static/"))
            elif answers and path in answers:
                route.fulfill(body=frame(answers[path]), content_type="text/html")
            elif route.request.method == "POST":
                route.fulfill(status=204)
            else:
                route.fulfill(body=frame(main), content_type="text/html")

        page.route(f"{HOST}/**", answer)
        page.goto(f"{HOST}/")
        return page

    return _show


def frame(main: str) -> str:
    return (
        '<!DOCTYPE html><html lang="en-GB"><title>Page</title>'
        f'<main>{main}</main><script type="module" src="/static/js/app.js"></script></html>'
    )


def posts_of(page: Page) -> list[str]:
    """The addresses to which forms are sent from now on."""
    seen: list[str] = []
    page.on("request", lambda request: request.method == "POST" and seen.append(request.url))
    return seen


def test_a_form_that_came_back_takes_the_reader_to_what_is_wrong(show):
    page = show(
        '<div tabindex="-1" data-error-summary><a href="#id_name">Name: fill this in</a></div>'
        '<div class="field"><label for="id_name">Name</label><input id="id_name"></div>'
    )
    expect(page.locator("[data-error-summary]")).to_be_focused()

    page.get_by_role("link", name="Name: fill this in").click()

    expect(page.get_by_label("Name")).to_be_focused()


def test_a_form_pressed_twice_goes_once(show):
    page = show('<form method="post" action="/save/"><button>Save</button></form>')
    posts = posts_of(page)

    page.get_by_role("button", name="Save").dblclick()
    page.wait_for_timeout(300)

    assert posts == [f"{HOST}/save/"]


def test_a_form_that_may_go_often_is_not_held_back(show):
    page = show('<form method="post" action="/save/" data-many><button>Save</button></form>')
    posts = posts_of(page)

    page.get_by_role("button", name="Save").click()
    page.get_by_role("button", name="Save").click()
    page.wait_for_timeout(300)

    assert len(posts) == 2


ASKING = (
    '<form method="post" action="/end/">'
    '<button class="danger" name="how" value="now" data-confirm="This ends it.">End it</button>'
    "</form>"
)


def test_no_to_a_question_sends_nothing(show):
    page = show(ASKING)
    posts = posts_of(page)

    page.get_by_role("button", name="End it").click()
    page.get_by_role("dialog", name="This ends it.").get_by_text("Leave it as it is").click()

    expect(page.get_by_role("dialog")).to_have_count(0)
    assert posts == []


def test_yes_to_a_question_sends_the_form_with_its_button(show):
    page = show(ASKING)

    page.get_by_role("button", name="End it").click()
    with page.expect_request("**/end/") as sent:
        page.get_by_role("dialog").get_by_role("button", name="End it").click()

    assert sent.value.post_data == "how=now"


LIST = (
    '<form class="filter-row"><label>Words <input name="q"></label></form>'
    "<table data-keys><tbody>"
    '<tr><th><a href="#a">First</a></th></tr><tr><th><a href="#b">Second</a></th></tr>'
    "</tbody></table>"
)


def test_a_list_is_walked_by_keyboard_and_stops_at_its_ends(show):
    page = show(LIST)

    focused = []
    for key in "jjjk":
        page.keyboard.press(key)
        focused.append(page.evaluate("document.activeElement.textContent"))

    assert focused == ["First", "Second", "Second", "First"]


def test_keys_stay_letters_while_something_is_typed(show):
    page = show(LIST)

    page.keyboard.press("/")
    page.keyboard.type("jk?/")

    expect(page.get_by_label("Words")).to_have_value("jk?/")


def test_a_question_mark_shows_the_keys(show):
    page = show(LIST)

    page.keyboard.press("?")

    expect(page.get_by_role("dialog", name="Keys on this page")).to_contain_text("Next row")


def test_long_work_is_looked_at_until_it_is_over(show):
    running = '<div id="job" data-poll="/job/">{} of 9</div>'
    answers = {"/job/": running.format(5)}
    page = show(running.format(1), answers)
    expect(page.locator("#job")).to_have_text("5 of 9", timeout=4000)

    answers["/job/"] = '<div id="job">Ready</div>'
    with page.expect_navigation(timeout=6000):
        pass

"""What the tests of who may come in share."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

GOOD = "stone pear window"
FOREIGN = "http://evil.example"


class Time:
    """Both clocks of the log-in, moved by hand."""

    def __init__(self) -> None:
        self.moment = datetime(2026, 12, 22, 22, tzinfo=UTC)

    def now(self) -> datetime:
        return self.moment

    def seconds(self) -> float:
        return self.moment.timestamp()

    def pass_by(self, seconds: float) -> None:
        self.moment += timedelta(seconds=seconds)


def logged_in(browser, name="Ana", passphrase=GOOD):
    answer = browser.post("/log-in", data={"name": name, "passphrase": passphrase})
    assert answer.status_code == 303, answer.text
    return browser

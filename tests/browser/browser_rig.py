"""Debian's Chromium looking at the page of a daemon.

The browser is driven from outside: what is pressed is found by what a person or a screen reader
would call it, and facts are waited for, with a bound.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any, Final

from selenium import webdriver
from selenium.common.exceptions import StaleElementReferenceException
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from site_rig import PASSWORD, Site, until


@dataclass(frozen=True)
class Scene:
    """Who looks: with what size, light and habits."""

    name: str
    width: int
    height: int
    dark: bool
    locale: str

    @property
    def is_phone(self) -> bool:
        return self.width < 600


SCENES: Final = (
    Scene("phone, light", 360, 740, dark=False, locale="en-GB"),
    Scene("phone, dark", 360, 740, dark=True, locale="en-GB"),
    Scene("desktop, light", 1280, 800, dark=False, locale="en-GB"),
    Scene("desktop, dark, °F", 1280, 800, dark=True, locale="en-US"),
)

BEHAVIOURS: Final = (SCENES[0], SCENES[3])
"""Both sizes, both lights, both scales: what the page does is the same by day and by night. How it
looks is looked at in every scene."""

_FIND = """
const [wanted, kinds, within] = arguments;
const named = (node) => (node.getAttribute('aria-label') ?? node.innerText ?? '').trim()
  .replaceAll(/\\s+/g, ' ');
const root = document.querySelector('dialog[open]') ?? document;
return [...root.querySelectorAll(kinds)].find((node) => named(node) === wanted
  && node.checkVisibility() && (!within || node.closest(within))) ?? null;
"""


_AXE_RUN = """
const done = arguments[0];
// What the two bars lie over can be scrolled free: they are laid into the page meanwhile.
const bars = [document.getElementById('top'), document.getElementById('deck')];
for (const bar of bars) bar.style.position = 'static';
const told = (one) => ({
  rule: one.id, help: one.help,
  where: one.nodes.map((node) => node.html + ' ' + (node.any[0]?.message ?? '')),
});
axe.run(document, {resultTypes: ['violations'], rules: {'target-size': {enabled: true}}})
  .then((found) => {
    for (const bar of bars) bar.style.removeProperty('position');
    done(JSON.stringify(found.violations.map(told)));
  });
"""

# In the browser, and not by asking from outside again and again: that takes longer than the page.
_STANDS_STILL = """
const [found, done] = arguments;
found.scrollIntoView({block: 'center'});
let before = null;
const look = () => {
  const {x, y, width, height} = found.getBoundingClientRect();
  const now = [x, y, width, height].join(' ');
  // What has just come or moved takes no press yet: fermd/web/page/base/press.js.
  const isReady = now === before && (found.readyAt ?? 0) <= performance.now();
  if (!found.isConnected) done(null);
  else if (isReady) done(found.refusals ?? 0);
  else setTimeout(look, 30);
  before = now;
};
look();
"""


class Looking:
    """A browser that looks at a page."""

    def __init__(self) -> None:
        options = Options()
        options.binary_location = "/usr/bin/chromium"
        for one in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
            options.add_argument(one)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
        self.driver = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
        self.address = ""

    def become(self, scene: Scene) -> None:
        """Take on a size, a light and a locale, with nothing remembered."""
        self._tell("Emulation.setDeviceMetricsOverride", width=scene.width, height=scene.height,
                   deviceScaleFactor=1, mobile=scene.is_phone)  # fmt: skip
        light = {"name": "prefers-color-scheme", "value": "dark" if scene.dark else "light"}
        self._tell("Emulation.setEmulatedMedia", features=[light])
        self._tell("Emulation.setLocaleOverride", locale=scene.locale)
        self._tell("Network.clearBrowserCookies")

    def _tell(self, command: str, **parameters: Any) -> Any:
        return self.driver.execute_cdp_cmd(command, parameters)

    def open(self, address: str) -> None:
        self.address = address
        self._tell("Storage.clearDataForOrigin", origin=address, storageTypes="local_storage")
        self.driver.get(address)

    def log_in(self, who: str = "Anna") -> None:
        self.until_says("Log in")
        self.fill("Your name, for the journal", who)
        self.fill("Password", PASSWORD)
        self.press("Log in")

    def go(self, place: str) -> None:
        self.run("document.getElementById('sheet').open || (location.hash = arguments[0])", place)

    def tidy(self) -> None:
        """Leave the sheet that a test before may have left open."""
        self.run("const sheet = document.getElementById('sheet'); if (sheet.open) sheet.close()")

    def run(self, script: str, *arguments: Any) -> Any:
        return self.driver.execute_script(script, *arguments)

    def says(self) -> str:
        """All words that can be seen."""
        return str(self.run("return document.body.innerText")).replace("\u00a0", " ")

    def until_says(self, words: str) -> None:
        try:
            until(lambda: words in self.says())
        except AssertionError:
            raise AssertionError(f"it never said {words!r}, but:\n{self.says()}") from None

    def _found(self, name: str, kinds: str, within: str) -> WebElement:
        found: list[WebElement] = []

        def there() -> bool:
            one = self.run(_FIND, name, kinds, within)
            found[:] = [one] if one is not None else []
            return one is not None

        try:
            until(there)
        except AssertionError:
            raise AssertionError(f"nothing is called {name!r} in:\n{self.says()}") from None
        return found[0]

    def press(self, name: str, within: str = "") -> None:
        """Press what goes by a name: a button, a link, a choice, a tick box."""

        def taken() -> bool:
            """Press, and again if it moved or went in that very moment: as a person does."""
            found = self._found(name, "button, a, label, summary", within)
            before = self.driver.execute_async_script(_STANDS_STILL, found)
            if before is None:
                return False
            try:
                found.click()
                return bool(self.run("return (arguments[0].refusals ?? 0)", found) == before)
            except StaleElementReferenceException:
                return True

        until(taken, f"{name!r} takes the press")

    def is_offered(self, name: str) -> bool:
        return self.run(_FIND, name, "button:not(:disabled), a", "") is not None

    def fill(self, label: str, text: str) -> None:
        """Type into the field with a label, over what stands there."""
        self.type_over(str(self._found(label, "label", "").get_attribute("for")), text)

    def type_over(self, field: str, text: str) -> None:
        """Type into the field of an id, over what stands there."""
        into = self.driver.find_element(By.ID, field)
        self.run("arguments[0].scrollIntoView({block: 'center'})", into)
        into.send_keys(Keys.CONTROL, "a")
        into.send_keys(Keys.BACK_SPACE)
        into.send_keys(text)

    def shown_in(self, selector: str) -> str:
        found = self.driver.find_elements(By.CSS_SELECTOR, selector)
        return found[0].text.replace("\u00a0", " ") if found else ""

    def until_shown_in(self, selector: str, words: str) -> None:
        def there() -> bool:
            text = self.run(
                "return document.querySelector(arguments[0])?.innerText ?? ''", selector
            )
            return words in str(text).replace("\u00a0", " ")

        try:
            until(there)
        except AssertionError:
            raise AssertionError(
                f"{selector} never said {words!r}; the page says:\n{self.says()}"
            ) from None

    def until_chart(self) -> None:
        until(
            lambda: self.run("return document.querySelector('.canvas canvas') !== null"), "a chart"
        )

    def complaints(self) -> list[str]:
        """What the browser has complained of since the last time.

        That the daemon refuses something (401: not logged in; 409: with its reason) is none.
        """
        found = [str(one["message"]) for one in self.driver.get_log("browser")]
        refusals = re.compile(r"status of (401|409) ")
        return [message for message in found if not refusals.search(message)]

    def leave(self) -> None:
        """Look at nothing any more."""
        self.driver.get("about:blank")

    def violations(self, axe: str) -> list[str]:
        """What axe-core finds wrong with the page as it is now, WCAG 2.2 AA and best practice."""
        if not self.run("return 'axe' in window"):
            self.run(axe)
        found = self.driver.execute_async_script(_AXE_RUN)
        return [f"{one['rule']}: {one['help']}: {one['where'][:3]}" for one in json.loads(found)]

    def close(self) -> None:
        self.driver.quit()


@dataclass(frozen=True)
class Cellar:
    """A site, and somebody who looks at it."""

    site: Site
    page: Looking
    scene: Scene

    def shown(self, temp_c: float, digits: int = 1) -> str:
        """A temperature as this scene's brewer reads it."""
        fahrenheit = self.scene.locale == "en-US"
        shown = temp_c * 1.8 + 32 if fahrenheit else temp_c
        return f"{shown:.{digits}f} {'°F' if fahrenheit else '°C'}"

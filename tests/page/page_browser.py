"""Chromium without a window, and short ways to look at the page in it."""

import base64
import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

REQUIRED = os.environ.get("TRIAGE_BROWSER") == "required"
FLAGS = (
    *("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    *("--disable-dev-shm-usage", "--hide-scrollbars"),
)
AXE = Path(__file__).parent / "vendor" / "axe" / "axe.min.js"


def find_browser() -> tuple[str, str]:
    """Where Chromium and its driver are.

    Without them the tests are skipped, or fail where TRIAGE_BROWSER=required says that they must
    run.
    """
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if chromium is not None and driver is not None:
        return chromium, driver
    told = "there is no chromium or chromedriver: apt-get install chromium chromium-driver"
    if REQUIRED:
        pytest.fail(told)
    pytest.skip(told)


@dataclass
class Browser:
    """One open window."""

    driver: Any

    def resize(self, width: int, height: int) -> None:
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.cdp("Emulation.setDeviceMetricsOverride", **size)

    def cdp(self, name: str, **values: Any) -> Any:
        return self.driver.execute_cdp_cmd(name, values)

    def open(self, page: Path) -> None:
        """Load a page and wait until its script has filled it."""
        self.driver.get_log("browser")
        self.driver.get_log("performance")
        self.driver.get(page.as_uri())
        self.wait("return 'ready' in document.documentElement.dataset")

    def wait(self, test: str, *values: Any, seconds: float = 30) -> None:
        from selenium.webdriver.support.wait import WebDriverWait

        WebDriverWait(self.driver, seconds, 0.02).until(lambda d: d.execute_script(test, *values))

    def run(self, script: str, *values: Any) -> Any:
        return self.driver.execute_script(script, *values)

    def complaints(self) -> list[str]:
        """What stands on the console since the page was opened."""
        return [str(line["message"]) for line in self.driver.get_log("browser")]

    def requests(self) -> list[str]:
        """Every address that was asked for since the page was opened."""
        found = []
        for line in self.driver.get_log("performance"):
            said = json.loads(line["message"])["message"]
            if said["method"] == "Network.requestWillBeSent":
                found.append(str(said["params"]["request"]["url"]))
        return found

    def choose(self, **values: str) -> None:
        """Set filters by the words that a person sees."""
        for name, word in values.items():
            self.run(
                """
                const box = document.getElementById(`f-${arguments[0]}`);
                if (box.options) {
                  const one = [...box.options].filter(o => o.textContent === arguments[1]);
                  if (one.length !== 1) throw new Error(`no single option ${arguments[1]}`);
                  box.value = one[0].value;
                } else box.value = arguments[1];
                box.dispatchEvent(new Event("change", { bubbles: true }));
                """,
                name,
                word,
            )

    def clear(self) -> None:
        self.run(
            """
            const before = document.querySelector("#queues tbody tr");
            document.querySelector("#filters [type=reset]").click();
            window.before = before;
            """
        )
        self.wait("return !window.before.isConnected")

    def text(self, css: str) -> str:
        return str(self.run("return document.querySelector(arguments[0]).textContent", css))

    def table(self, box: str) -> list[list[str]]:
        """Cells of a table's body; a button that shows all lines is pressed first."""
        return self.run(
            """
            const box = document.getElementById(arguments[0]);
            box.querySelector(".more button")?.click();
            return [...box.querySelectorAll("tbody tr")].map(row =>
              [...row.children].map(cell => cell.textContent));
            """,
            box,
        )

    def counts(self, box: str) -> dict[str, list[int]]:
        """A table as first column -> whole numbers; shares in brackets are left out."""
        return {
            line[0]: [int(cell.split(" ")[0].replace(",", "")) for cell in line[1:]]
            for line in self.table(box)
            if len(line) > 1
        }

    def press(self, *keys: str) -> None:
        from selenium.webdriver.common.action_chains import ActionChains

        for key in keys:
            ActionChains(self.driver, duration=0).send_keys(key).perform()

    def focus(self) -> str:
        """What holds the focus: its id, else its text."""
        return str(
            self.run("const e = document.activeElement; return e.id || e.textContent.trim()")
        )

    def violations(self) -> list[str]:
        """What the accessibility audit finds: rule and the first places."""
        if not self.run("return 'axe' in window"):
            self.run(AXE.read_text(encoding="utf-8") + "; window.axe = axe;")
        found = self.driver.execute_async_script(
            """
            const done = arguments[0];
            axe.run(document, { resultTypes: ["violations", "incomplete"] }).then(r => done({
              bad: r.violations.map(v =>
                `${v.id}: ${v.nodes.slice(0, 3).map(n => n.html.slice(0, 160)).join(" | ")}`),
              looked: r.passes.length + r.violations.length,
            }), e => done({ bad: [`audit failed: ${e}`], looked: 0 }));
            """
        )
        assert found["looked"] > 20, found
        return list(found["bad"])

    def pdf(self) -> bytes:
        sheet = {"printBackground": True, "paperWidth": 8.27, "paperHeight": 11.69}
        return base64.b64decode(self.cdp("Page.printToPDF", **sheet)["data"])

    def picture(self, box: str) -> Image.Image:
        """A part of the page as a picture."""
        frame = self.run(
            """
            const { x, y, width, height } = document.getElementById(arguments[0])
              .getBoundingClientRect();
            return { x: x + scrollX, y: y + scrollY, width, height, scale: 1 };
            """,
            box,
        )
        shot = self.cdp("Page.captureScreenshot", captureBeyondViewport=True, clip=frame)
        return Image.open(BytesIO(base64.b64decode(shot["data"])))


@contextmanager
def open_browser(where: tuple[str, str]) -> Iterator[Browser]:
    """A window that is closed, with all that it wrote, when the block ends."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = where[0]
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    with tempfile.TemporaryDirectory(prefix="triage-chromium-", ignore_cleanup_errors=True) as own:
        for flag in (*FLAGS, f"--user-data-dir={own}"):
            options.add_argument(flag)
        driver = webdriver.Chrome(options=options, service=Service(where[1]))
        driver.set_script_timeout(120)
        try:
            yield Browser(driver)
        finally:
            driver.quit()

"""How browser tests start Chromium: Debian's own, not one that is downloaded."""

import shutil
from typing import Any

import pytest


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    return {**browser_type_launch_args, "executable_path": shutil.which("chromium")}

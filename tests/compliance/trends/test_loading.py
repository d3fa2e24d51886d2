"""What pages without figures must not wait for."""

import subprocess
import sys


def test_what_is_slow_to_load_is_not_loaded_with_the_package():
    """A web page that shows no figures must not wait for scipy and statsmodels."""
    look = (
        "import sys, compliance.trends.exposure, compliance.trends.rates, compliance.trends.many, "
        "compliance.trends.effect, compliance.trends.trend, compliance.trends.drawing, "
        "compliance.trends.tints; "
        "print(sorted({'scipy', 'statsmodels', 'pandas'} & set(sys.modules)))"
    )
    answer = subprocess.run(
        [sys.executable, "-c", look], capture_output=True, text=True, check=True
    )
    assert answer.stdout.strip() == "[]"

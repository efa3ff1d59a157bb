#!/usr/bin/env bash
# Runs every test. The checks against outside references need Python 3.11 or later, the page tests Chromium: both are set
# up here where that is possible, and the tests that need them say why they are skipped where it is not.
set -euo pipefail
cd "$(dirname "$0")/.."

reference=target/reference
if [ -z "${RAWASSAY_PYTHON:-}" ] && ! cmp -s tests/requirements.txt "$reference/installed.txt"; then
    if command -v python3 >/dev/null && python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
        echo "setting up the reference libraries in $reference"
        python3 -m venv "$reference" &&
            "$reference/bin/pip" install --quiet --disable-pip-version-check -r tests/requirements.txt &&
            cp tests/requirements.txt "$reference/installed.txt" ||
            echo "note: the reference libraries could not be installed; the checks that need them are skipped"
    else
        echo "note: no Python 3.11 or later; the checks against outside libraries are skipped"
    fi
fi

if ! command -v chromium >/dev/null && command -v apt-get >/dev/null && [ "$(id -u)" = 0 ]; then
    echo "installing Chromium for the page tests"
    { apt-get update -qq && apt-get install -y -qq chromium >/dev/null; } ||
        echo "note: Chromium could not be installed; the page tests are skipped"
fi

if command -v npm >/dev/null; then
    npm ci --silent --no-audit --no-fund --prefix tests/browser ||
        echo "note: playwright-core could not be installed; the page tests are skipped"
fi

cargo test --workspace

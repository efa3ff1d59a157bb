#!/usr/bin/env bash
# The whole test suite, with what it needs.
set -euo pipefail
cd "$(dirname "$0")/.."
cargo test --workspace

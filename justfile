# The same as .ci/run, step by step.

check:
    bash .ci/run

test:
    bash tests/run.sh

demo:
    cargo run --release -p rawassay -- demo demo-shoot

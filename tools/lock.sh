#!/bin/sh
# Write the locks anew from the floors in pyproject.toml: hashes, but no index address.
# Versions already locked stay unless a package is named:  tools/lock.sh --upgrade-package numpy
set -eu
cd "$(dirname "$0")/.."

compile() {
    .venv/bin/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes \
        --no-emit-index-url --no-header "$@"
}

mkdir -p locks
compile "$@" --group build -o locks/demo.txt pyproject.toml
compile "$@" --group build --group app --group test --constraint locks/demo.txt -o locks/test.txt pyproject.toml

if grep -nE '://|--(index-url|extra-index-url|find-links|trusted-host)|^-e |@ file' locks/*.txt; then
    echo "error: a lock holds an address or a path (above)" >&2
    exit 1
fi

#!/bin/sh
# Make the environment in .venv:  tools/setup.sh demo | test
#
# Everything comes from the locks, hashes checked. The stamp holds a hash of what the environment
# was made from, so that a second run does nothing and needs no network.
set -eu
cd "$(dirname "$0")/.."

wanted=${1:-}
python=${PYTHON:-python3}
here=.venv/bin/python

fail() {
    echo "error: $*" >&2
    exit 3
}

case $wanted in
demo | test) ;;
*) fail "usage: tools/setup.sh demo|test" ;;
esac

# An environment that is whole is kept, with its own Python; make clean removes it.
runs='import sys; sys.exit(sys.version_info < (3, 11))'
if "$here" -c "import pip; $runs" 2>/dev/null; then made=yes base=$here; else made=no base=$python; fi
if [ $made = no ]; then
    command -v "$python" >/dev/null || fail "there is no $python; install Python 3.11 or newer"
    "$python" -c "$runs" ||
        fail "$("$python" --version) is too old; Foreaft needs 3.11 or newer (make PYTHON=...)"
fi

# Of the files an environment is made from, of its place (it cannot be moved) and of its Python.
stamp_of() {
    "$base" -c 'import hashlib, os, pathlib, sys
digest = hashlib.sha256(f"{sys.version} {os.getcwd()}".encode())
for name in sys.argv[1:]:
    digest.update(pathlib.Path(name).read_bytes())
print(digest.hexdigest())' pyproject.toml "$@"
}
demo_stamp=$(stamp_of locks/demo.txt)
test_stamp=$(stamp_of locks/demo.txt locks/test.txt)

has_stamp() {
    [ $made = yes ] && [ "$(cat ".venv/stamp-$1" 2>/dev/null)" = "$2" ]
}
if has_stamp test "$test_stamp"; then exit 0; fi
if [ "$wanted" = demo ] && has_stamp demo "$demo_stamp"; then exit 0; fi

# Debian ships python3 without the module that makes environments.
if [ $made = no ] && ! "$python" -c 'import ensurepip, venv' 2>/dev/null; then
    [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null ||
        fail "Python cannot make environments here; run:  sudo apt-get install python3-venv"
    echo "Installing python3-venv"
    export DEBIAN_FRONTEND=noninteractive
    apt-get -q update && apt-get -qy -o DPkg::Lock::Timeout=300 install python3-venv ||
        fail "python3-venv could not be installed"
fi
if [ $made = no ]; then
    echo "Making .venv with $("$python" --version)"
    "$python" -m venv --clear .venv
fi

echo "Installing from locks/$wanted.txt (the first time this downloads)"
"$here" -m pip install --disable-pip-version-check --quiet --require-hashes -r "locks/$wanted.txt"
"$here" -m pip install --disable-pip-version-check --quiet --no-deps --no-build-isolation -e .

if [ "$wanted" = test ]; then
    echo "$test_stamp" >.venv/stamp-test
else
    echo "$demo_stamp" >.venv/stamp-demo
fi

#!/bin/sh
# Build the browser app into the package, where that is possible and something has changed.
#
# Node comes from the environment (locks/test.txt), never from the system, whose own is too old.
# The stamp holds a hash of what the app is made from, so that no stale build is served.
# Packages that cannot be had are told and leave the rest of Foreaft working (--try makes that no
# error); a page that does not compile is always an error.
set -eu
cd "$(dirname "$0")/.."

built=src/foreaft/web/built
bin=$PWD/.venv/bin

stamp=$("$bin/python" -c 'import hashlib, pathlib
digest = hashlib.sha256()
made = {"node_modules", "schema.d.ts"}
for root in ("app", "src/foreaft/model", "src/foreaft/jobs/requests.py", "tools/make_app_types.py"):
    top = pathlib.Path(root)
    for file in sorted(top.rglob("*")) if top.is_dir() else [top]:
        if file.is_file() and not made & set(file.parts) and "__pycache__" not in file.parts:
            digest.update(str(file).encode() + b"\0" + file.read_bytes())
print(digest.hexdigest())')
if [ "$(cat $built/stamp 2>/dev/null)" = "$stamp" ]; then exit 0; fi

echo "Building the app (the first time this downloads)"
PATH=$bin:$PATH
mkdir -p build
"$bin/python" tools/make_app_types.py build/app-types.json
cd app
if [ "$(cat node_modules/.stamp 2>/dev/null)" != "$(cksum <package-lock.json)" ]; then
    npm ci --silent || {
        echo "The app's packages could not be had: it is not built, and its tests are skipped" >&2
        [ "${1:-}" = --try ] && exit 0
        exit 3
    }
    cksum <package-lock.json >node_modules/.stamp
fi
npx openapi-typescript ../build/app-types.json -o src/api/schema.d.ts >/dev/null
npm run --silent build
cd ..
echo "$stamp" >$built/stamp

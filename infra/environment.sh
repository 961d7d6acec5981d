# Sourced by the other scripts: `prepare_environment LOCKFILE` makes the virtual environment .venv of
# this checkout from a lock file, or reuses it when it was made from the same one, and sets PYTHON.

find_python() {
  local candidate
  for candidate in ${PYTHON_FOR_SERVEWRIGHT:-} python3 python3.14 python3.13 python3.12 python3.11 python; do
    if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; then
      command -v "$candidate"
      return 0
    fi
  done
  echo "Python 3.11 or later is needed. Install it, or set PYTHON_FOR_SERVEWRIGHT to its path." >&2
  return 1
}

prepare_environment() {
  local lock="$1" base marker wanted log
  PYTHON="$PWD/.venv/bin/python"
  marker="$PWD/.venv/.made-from-$lock"
  if [ ! -x "$PYTHON" ] || ! "$PYTHON" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
    base="$(find_python)" || return 1
    echo "Making a virtual environment in .venv ($("$base" --version))" >&2
    if ! "$base" -m venv .venv; then
      echo "python -m venv failed. On Debian and Ubuntu install the package python3-venv." >&2
      return 1
    fi
  fi
  wanted="$("$PYTHON" -c 'import hashlib, pathlib, sys
print(hashlib.sha256(b"".join(pathlib.Path(p).read_bytes() for p in sys.argv[1:])).hexdigest())' \
    "$lock" pyproject.toml)"
  if [ -f "$marker" ] && [ "$(cat "$marker")" = "$wanted" ]; then
    return 0
  fi
  echo "Installing the packages of $lock (a few minutes the first time)" >&2
  log="$(mktemp)"
  if ! "$PYTHON" -m pip install --disable-pip-version-check --quiet --require-hashes -r "$lock" >"$log" 2>&1 ||
    ! "$PYTHON" -m pip install --disable-pip-version-check --quiet --no-deps --editable . >>"$log" 2>&1; then
    cat "$log" >&2
    rm -f "$log"
    echo "The packages could not be installed; see above. Is there a network, and room on the disk?" >&2
    return 1
  fi
  rm -f "$log"
  printf '%s' "$wanted" >"$marker"
}

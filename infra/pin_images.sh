#!/usr/bin/env bash
# Prints the outside images by digest, as lines for .env: a tag may mean something else tomorrow.
# Needs docker and a registry. Run it again, and compare, when you want newer ones.
set -euo pipefail

pin() {
  local variable="$1" image="$2" found
  docker pull --quiet "$image" >&2
  found="$(docker image inspect --format '{{index .RepoDigests 0}}' "$image")"
  if [[ ! "$found" =~ @sha256:[0-9a-f]{64}$ ]]; then
    echo "$image has no digest: was it built here? Remove it and pull it from its registry." >&2
    return 1
  fi
  printf '%s=%s@%s\n' "$variable" "$image" "${found#*@}"
}

pin PYTHON_IMAGE python:3.13-slim
pin POSTGRES_IMAGE postgres:17-alpine
pin VALKEY_IMAGE valkey/valkey:8-alpine

#!/usr/bin/env bash
# The main job from end to end on this machine: starts everything embedded, sends a shipped film
# through HTTP, receives the signed webhook, prints what was measured, stops what it started.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
source infra/environment.sh
prepare_environment requirements.txt
exec "$PYTHON" infra/demo.py "$@"

#!/usr/bin/env bash
# A club's story with one invented player, step by step through the HTTP API; see club_story.py.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."
source infra/environment.sh
prepare_environment requirements.txt
exec "$PYTHON" infra/examples/club_story.py "$@"

#!/usr/bin/env bash
# Environment plus the whole test suite, in one more process than there are cores.
# Arguments go to pytest: bash infra/test.sh tests/unit -x; with -n 0 all runs in one process.
# With SERVEWRIGHT_TEST_DATABASE_URL and SERVEWRIGHT_TEST_REDIS_URL set, the tests of the service
# use those servers; otherwise SQLite and an embedded Valkey. In PostgreSQL every test has a schema
# of its own; on Redis the first process uses the database named, the others those that follow it.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
source infra/environment.sh
prepare_environment requirements-test.txt
# One thread a process, as the workers run: a pool of threads on shared cores is many times slower.
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1
# Byte code is kept: every process of the run would compile the same modules again.
unset PYTHONDONTWRITEBYTECODE
exec "$PYTHON" -m pytest -n auto --maxprocesses 8 --dist worksteal "$@"

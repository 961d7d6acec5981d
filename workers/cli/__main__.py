"""``python -m workers.cli`` does what ``servewright`` does."""

from workers.cli import main

main()

"""where the trace of work and of its events goes on"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = '0010'
down_revision = '0009'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column('work', sa.Column('traceparent', sa.String(length=55), nullable=True))
    op.add_column('outbox_events', sa.Column('traceparent', sa.String(length=55), nullable=True))


def downgrade() -> None:
    op.drop_column('outbox_events', 'traceparent')
    op.drop_column('work', 'traceparent')

"""how long films, joints and reports are kept, by organisation; what was removed when"""

from __future__ import annotations

from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

import service.core.table_base

revision = '0012'
down_revision = '0011'
branch_labels = None
depends_on = None


def upgrade() -> None:
    moment = service.core.table_base.UtcDateTime(timezone=True)
    with op.batch_alter_table('organisations', schema=None) as batch_op:
        batch_op.add_column(sa.Column('keeping', sa.JSON(), nullable=False, server_default='{}'))
        batch_op.add_column(sa.Column('keeping_since', moment, nullable=True))
    with op.batch_alter_table('organisations', schema=None) as batch_op:
        batch_op.alter_column('keeping', existing_type=sa.JSON(), server_default=None)
    # What was kept without a rule before goes a week after the upgrade at the earliest.
    op.execute(
        sa.text('UPDATE organisations SET keeping_since = :now').bindparams(
            sa.bindparam('now', datetime.now(UTC), type_=moment)
        )
    )
    with op.batch_alter_table('clips', schema=None) as batch_op:
        batch_op.add_column(sa.Column('film_removed_at', moment, nullable=True))
    with op.batch_alter_table('work', schema=None) as batch_op:
        batch_op.add_column(sa.Column('joints_removed_at', moment, nullable=True))
        batch_op.add_column(sa.Column('reports_removed_at', moment, nullable=True))


def downgrade() -> None:
    raise RuntimeError('what was removed would seem to be there: restore a backup instead')

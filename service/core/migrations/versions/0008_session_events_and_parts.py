"""events of sessions, films sent in parts to the object store"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = '0008'
down_revision = '0007'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('outbox_events', schema=None) as batch_op:
        batch_op.add_column(sa.Column('session_id', sa.String(length=255), nullable=True))
        batch_op.create_foreign_key(batch_op.f('fk_outbox_events_session_id_sessions'), 'sessions', ['session_id'], ['id'], ondelete='CASCADE')
        batch_op.create_index('ix_outbox_events_session_id', ['session_id'], unique=False)
    with op.batch_alter_table('clips', schema=None) as batch_op:
        batch_op.add_column(sa.Column('upload_id', sa.Text(), nullable=True))


def downgrade() -> None:
    raise RuntimeError('uploads in parts would be lost: restore a backup instead')

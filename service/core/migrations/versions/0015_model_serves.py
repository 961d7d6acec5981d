"""analyses that are model serves"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = '0015'
down_revision = '0014'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('work', schema=None) as batch_op:
        batch_op.add_column(sa.Column('role', sa.String(length=8), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table('work', schema=None) as batch_op:
        batch_op.drop_column('role')

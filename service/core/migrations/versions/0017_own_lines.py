"""own lines on the pictures of an analysis"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = '0017'
down_revision = '0016'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('work', schema=None) as batch_op:
        batch_op.add_column(sa.Column('own_lines', sa.JSON(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table('work', schema=None) as batch_op:
        batch_op.drop_column('own_lines')

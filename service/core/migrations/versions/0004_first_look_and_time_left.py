"""early verdict on a film, time left, and what analyses cost a machine"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import service.core.table_base

revision = '0004'
down_revision = '0003'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('work', schema=None) as batch_op:
        batch_op.add_column(sa.Column('first_look', sa.JSON(none_as_null=True), nullable=True))
        batch_op.add_column(sa.Column('time_left_s', sa.Double(), nullable=True))
    op.create_table('machine_costs',
    sa.Column('machine', sa.String(length=255), nullable=False),
    sa.Column('updated_at', service.core.table_base.UtcDateTime(timezone=True), nullable=False),
    sa.Column('costs', sa.JSON(none_as_null=True), nullable=False),
    sa.PrimaryKeyConstraint('machine', name=op.f('pk_machine_costs'))
    )


def downgrade() -> None:
    op.drop_table('machine_costs')
    with op.batch_alter_table('work', schema=None) as batch_op:
        batch_op.drop_column('time_left_s')
        batch_op.drop_column('first_look')

"""the second film of an analysis of two"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = '0016'
down_revision = '0015'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('work', schema=None) as batch_op:
        batch_op.add_column(sa.Column('same_serve_id', sa.String(length=255), nullable=True))
        batch_op.create_foreign_key(
            batch_op.f('fk_work_same_serve_id_clips'),
            'clips',
            ['same_serve_id'],
            ['id'],
            ondelete='CASCADE',
        )
        batch_op.create_index(batch_op.f('ix_work_same_serve_id'), ['same_serve_id'])


def downgrade() -> None:
    with op.batch_alter_table('work', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_work_same_serve_id'))
        batch_op.drop_constraint(batch_op.f('fk_work_same_serve_id_clips'), type_='foreignkey')
        batch_op.drop_column('same_serve_id')

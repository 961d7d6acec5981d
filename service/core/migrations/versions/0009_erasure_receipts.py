"""erasures as resources, with receipts"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import service.core.table_base

revision = '0009'
down_revision = '0008'
branch_labels = None
depends_on = None


def upgrade() -> None:
    moment = service.core.table_base.UtcDateTime(timezone=True)
    op.create_table(
        'erasure_receipts',
        sa.Column('id', sa.String(length=255), nullable=False),
        sa.Column('tenant_id', sa.String(length=255), nullable=False),
        sa.Column('created_at', moment, nullable=False),
        sa.Column('subject_id', sa.String(length=255), nullable=False),
        sa.Column('player_id', sa.String(length=255), nullable=True),
        sa.Column('clips', sa.Integer(), nullable=False),
        sa.Column('work', sa.Integer(), nullable=False),
        sa.Column('files', sa.Integer(), nullable=False),
        sa.Column('files_erased_at', moment, nullable=True),
        sa.Column('database_cleaned_at', moment, nullable=True),
        sa.Column('completed_at', moment, nullable=True),
        sa.ForeignKeyConstraint(
            ['tenant_id'], ['organisations.id'], name=op.f('fk_erasure_receipts_tenant_id_organisations')
        ),
        sa.PrimaryKeyConstraint('id', name=op.f('pk_erasure_receipts')),
    )
    op.create_index('ix_erasure_receipts_page', 'erasure_receipts', ['tenant_id', 'created_at', 'id'])
    with op.batch_alter_table('erasures', schema=None) as batch_op:
        batch_op.add_column(sa.Column('receipt_id', sa.String(length=255), nullable=True))
        batch_op.create_foreign_key(
            batch_op.f('fk_erasures_receipt_id_erasure_receipts'),
            'erasure_receipts',
            ['receipt_id'],
            ['id'],
            ondelete='CASCADE',
        )
        batch_op.create_index(batch_op.f('ix_erasures_receipt_id'), ['receipt_id'])


def downgrade() -> None:
    raise RuntimeError('receipts of erasures would be lost: restore a backup instead')

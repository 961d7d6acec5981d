"""voice messages, and the look of an organisation"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import service.core.table_base

revision = '0018'
down_revision = '0017'
branch_labels = None
depends_on = None


def upgrade() -> None:
    text = sa.String(length=255)
    moment = service.core.table_base.UtcDateTime(timezone=True)
    op.create_table(
        'voices',
        sa.Column('id', text, nullable=False),
        sa.Column('tenant_id', text, nullable=False),
        sa.Column('player_id', text, nullable=False),
        sa.Column('created_at', moment, nullable=False),
        sa.Column('object_key', text, nullable=False),
        sa.Column('media_type', sa.String(length=16), nullable=False),
        sa.Column('size_bytes', sa.Integer(), nullable=False),
        sa.Column('sha256', sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(
            ['tenant_id'], ['organisations.id'], name=op.f('fk_voices_tenant_id_organisations')
        ),
        sa.ForeignKeyConstraint(
            ['player_id'], ['players.id'], name=op.f('fk_voices_player_id_players'), ondelete='CASCADE'
        ),
        sa.PrimaryKeyConstraint('id', name=op.f('pk_voices')),
    )
    op.create_index('ix_voices_page', 'voices', ['tenant_id', 'player_id', 'created_at', 'id'])
    op.create_index('ix_voices_player_id', 'voices', ['player_id'])
    op.create_table(
        'branding',
        sa.Column('tenant_id', text, nullable=False),
        sa.Column('updated_at', moment, nullable=False),
        sa.Column('name', text, nullable=False),
        sa.Column('colour', sa.String(length=7), nullable=True),
        sa.Column('logo', sa.LargeBinary(), nullable=True),
        sa.Column('logo_type', sa.String(length=16), nullable=True),
        sa.ForeignKeyConstraint(
            ['tenant_id'], ['organisations.id'], name=op.f('fk_branding_tenant_id_organisations')
        ),
        sa.PrimaryKeyConstraint('tenant_id', name=op.f('pk_branding')),
    )


def downgrade() -> None:
    op.drop_table('branding')
    op.drop_table('voices')

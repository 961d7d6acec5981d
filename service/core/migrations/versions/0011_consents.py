"""consents of players, also without an intake link; what they cover; withdrawal"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import service.core.table_base

revision = '0011'
down_revision = '0010'
branch_labels = None
depends_on = None


def upgrade() -> None:
    moment = service.core.table_base.UtcDateTime(timezone=True)
    with op.batch_alter_table('intake_links', schema=None) as batch_op:
        batch_op.add_column(
            sa.Column('consent_covers', sa.JSON(), nullable=False, server_default='["analysis"]')
        )
        batch_op.add_column(sa.Column('consent_keep_days', sa.Integer(), nullable=True))
    with op.batch_alter_table('intake_links', schema=None) as batch_op:
        batch_op.alter_column('consent_covers', server_default=None)
    with op.batch_alter_table('intake_consents', schema=None) as batch_op:
        batch_op.add_column(sa.Column('given_at', moment, nullable=True))
        batch_op.add_column(sa.Column('withdrawn_at', moment, nullable=True))
        batch_op.add_column(sa.Column('text', sa.Text(), nullable=True))
        batch_op.add_column(
            sa.Column('covers', sa.JSON(), nullable=False, server_default='["analysis"]')
        )
        batch_op.add_column(sa.Column('keep_films_days', sa.Integer(), nullable=True))
    op.execute(
        'UPDATE intake_consents SET given_at = created_at, text = (SELECT consent_text'
        ' FROM intake_links WHERE intake_links.id = intake_consents.link_id)'
    )
    with op.batch_alter_table('intake_consents', schema=None) as batch_op:
        batch_op.alter_column('given_at', existing_type=moment, nullable=False)
        batch_op.alter_column('text', existing_type=sa.Text(), nullable=False)
        batch_op.alter_column('covers', existing_type=sa.JSON(), server_default=None)
        batch_op.alter_column('link_id', existing_type=sa.String(length=255), nullable=True)
        batch_op.alter_column('expires_at', existing_type=moment, nullable=True)


def downgrade() -> None:
    raise RuntimeError('consents given without a link would be lost: restore a backup instead')

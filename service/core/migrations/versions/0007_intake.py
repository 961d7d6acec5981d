"""intake links with consents, uploads that can be resumed, share links, analysis on arrival"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import service.core.table_base

revision = '0007'
down_revision = '0006'
branch_labels = None
depends_on = None


def upgrade() -> None:
    moment = service.core.table_base.UtcDateTime(timezone=True)

    op.create_table('intake_links',
    sa.Column('id', sa.String(length=255), nullable=False),
    sa.Column('tenant_id', sa.String(length=255), nullable=False),
    sa.Column('created_at', moment, nullable=False),
    sa.Column('label', sa.String(length=255), nullable=False),
    sa.Column('digest', sa.String(length=64), nullable=False),
    sa.Column('player_id', sa.String(length=255), nullable=True),
    sa.Column('session_id', sa.String(length=255), nullable=True),
    sa.Column('session_kind', sa.String(length=16), nullable=False),
    sa.Column('max_films', sa.Integer(), nullable=False),
    sa.Column('max_bytes', sa.BigInteger(), nullable=True),
    sa.Column('expires_at', moment, nullable=False),
    sa.Column('revoked_at', moment, nullable=True),
    sa.Column('consent_text', sa.Text(), nullable=False),
    sa.Column('consent_version', sa.String(length=255), nullable=False),
    sa.Column('analyse', sa.JSON(none_as_null=True), nullable=True),
    sa.Column('external_ref', sa.String(length=255), nullable=True),
    sa.ForeignKeyConstraint(['tenant_id'], ['organisations.id'], name=op.f('fk_intake_links_tenant_id_organisations')),
    sa.ForeignKeyConstraint(['player_id'], ['players.id'], name=op.f('fk_intake_links_player_id_players'), ondelete='CASCADE'),
    sa.ForeignKeyConstraint(['session_id'], ['sessions.id'], name=op.f('fk_intake_links_session_id_sessions'), ondelete='CASCADE'),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_intake_links'))
    )
    op.create_index('ix_intake_links_page', 'intake_links', ['tenant_id', 'created_at', 'id'])
    op.create_index('ix_intake_links_player_id', 'intake_links', ['player_id'])
    op.create_index('ix_intake_links_session_id', 'intake_links', ['session_id'])

    op.create_table('intake_consents',
    sa.Column('id', sa.String(length=255), nullable=False),
    sa.Column('tenant_id', sa.String(length=255), nullable=False),
    sa.Column('link_id', sa.String(length=255), nullable=False),
    sa.Column('player_id', sa.String(length=255), nullable=True),
    sa.Column('session_id', sa.String(length=255), nullable=True),
    sa.Column('created_at', moment, nullable=False),
    sa.Column('expires_at', moment, nullable=False),
    sa.Column('given_by', sa.String(length=16), nullable=False),
    sa.Column('name', sa.String(length=255), nullable=False),
    sa.Column('version', sa.String(length=255), nullable=False),
    sa.ForeignKeyConstraint(['tenant_id'], ['organisations.id'], name=op.f('fk_intake_consents_tenant_id_organisations')),
    sa.ForeignKeyConstraint(['link_id'], ['intake_links.id'], name=op.f('fk_intake_consents_link_id_intake_links'), ondelete='CASCADE'),
    sa.ForeignKeyConstraint(['player_id'], ['players.id'], name=op.f('fk_intake_consents_player_id_players'), ondelete='CASCADE'),
    sa.ForeignKeyConstraint(['session_id'], ['sessions.id'], name=op.f('fk_intake_consents_session_id_sessions'), ondelete='CASCADE'),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_intake_consents'))
    )
    op.create_index('ix_intake_consents_expires_at', 'intake_consents', ['expires_at'])
    op.create_index('ix_intake_consents_link_id', 'intake_consents', ['link_id'])
    op.create_index('ix_intake_consents_page', 'intake_consents', ['link_id', 'created_at', 'id'])
    op.create_index('ix_intake_consents_player_id', 'intake_consents', ['player_id'])
    op.create_index('ix_intake_consents_session_id', 'intake_consents', ['session_id'])

    op.create_table('uploads',
    sa.Column('id', sa.String(length=255), nullable=False),
    sa.Column('tenant_id', sa.String(length=255), nullable=False),
    sa.Column('api_key_id', sa.String(length=255), nullable=False),
    sa.Column('link_id', sa.String(length=255), nullable=True),
    sa.Column('consent_id', sa.String(length=255), nullable=True),
    sa.Column('player_id', sa.String(length=255), nullable=True),
    sa.Column('session_id', sa.String(length=255), nullable=True),
    sa.Column('clip_id', sa.String(length=255), nullable=True),
    sa.Column('created_at', moment, nullable=False),
    sa.Column('updated_at', moment, nullable=False),
    sa.Column('expires_at', moment, nullable=False),
    sa.Column('finished_at', moment, nullable=True),
    sa.Column('length', sa.BigInteger(), nullable=False),
    sa.Column('received', sa.BigInteger(), nullable=False),
    sa.Column('sha256', sa.String(length=64), nullable=True),
    sa.Column('external_ref', sa.String(length=255), nullable=True),
    sa.Column('analyse', sa.JSON(none_as_null=True), nullable=True),
    sa.Column('problem', sa.JSON(none_as_null=True), nullable=True),
    sa.ForeignKeyConstraint(['tenant_id'], ['organisations.id'], name=op.f('fk_uploads_tenant_id_organisations')),
    sa.ForeignKeyConstraint(['link_id'], ['intake_links.id'], name=op.f('fk_uploads_link_id_intake_links'), ondelete='CASCADE'),
    sa.ForeignKeyConstraint(['consent_id'], ['intake_consents.id'], name=op.f('fk_uploads_consent_id_intake_consents'), ondelete='CASCADE'),
    sa.ForeignKeyConstraint(['player_id'], ['players.id'], name=op.f('fk_uploads_player_id_players'), ondelete='CASCADE'),
    sa.ForeignKeyConstraint(['session_id'], ['sessions.id'], name=op.f('fk_uploads_session_id_sessions'), ondelete='CASCADE'),
    sa.ForeignKeyConstraint(['clip_id'], ['clips.id'], name=op.f('fk_uploads_clip_id_clips'), ondelete='CASCADE'),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_uploads'))
    )
    op.create_index('ix_uploads_clip_id', 'uploads', ['clip_id'])
    op.create_index('ix_uploads_consent_id', 'uploads', ['consent_id'])
    op.create_index('ix_uploads_link_id', 'uploads', ['link_id'])
    op.create_index('ix_uploads_open', 'uploads', ['finished_at', 'expires_at'])
    op.create_index('ix_uploads_player_id', 'uploads', ['player_id'])
    op.create_index('ix_uploads_session_id', 'uploads', ['session_id'])
    op.create_index('ix_uploads_tenant', 'uploads', ['tenant_id', 'finished_at'])

    op.create_table('upload_pieces',
    sa.Column('upload_id', sa.String(length=255), nullable=False),
    sa.Column('first', sa.BigInteger(), nullable=False),
    sa.Column('tenant_id', sa.String(length=255), nullable=False),
    sa.Column('length', sa.Integer(), nullable=False),
    sa.Column('object_key', sa.String(length=255), nullable=False),
    sa.ForeignKeyConstraint(['upload_id'], ['uploads.id'], name=op.f('fk_upload_pieces_upload_id_uploads'), ondelete='CASCADE'),
    sa.ForeignKeyConstraint(['tenant_id'], ['organisations.id'], name=op.f('fk_upload_pieces_tenant_id_organisations')),
    sa.PrimaryKeyConstraint('upload_id', 'first', name=op.f('pk_upload_pieces'))
    )

    op.create_table('share_links',
    sa.Column('id', sa.String(length=255), nullable=False),
    sa.Column('tenant_id', sa.String(length=255), nullable=False),
    sa.Column('created_at', moment, nullable=False),
    sa.Column('work_id', sa.String(length=255), nullable=False),
    sa.Column('files', sa.JSON(), nullable=False),
    sa.Column('digest', sa.String(length=64), nullable=False),
    sa.Column('expires_at', moment, nullable=False),
    sa.Column('revoked_at', moment, nullable=True),
    sa.Column('views', sa.Integer(), nullable=False),
    sa.Column('last_viewed_at', moment, nullable=True),
    sa.ForeignKeyConstraint(['tenant_id'], ['organisations.id'], name=op.f('fk_share_links_tenant_id_organisations')),
    sa.ForeignKeyConstraint(['work_id'], ['work.id'], name=op.f('fk_share_links_work_id_work'), ondelete='CASCADE'),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_share_links'))
    )
    op.create_index('ix_share_links_page', 'share_links', ['tenant_id', 'created_at', 'id'])
    op.create_index('ix_share_links_work_id', 'share_links', ['work_id'])

    with op.batch_alter_table('clips', schema=None) as batch_op:
        batch_op.add_column(sa.Column('analyse', sa.JSON(none_as_null=True), nullable=True))


def downgrade() -> None:
    raise RuntimeError('consents would be lost: restore a backup instead')

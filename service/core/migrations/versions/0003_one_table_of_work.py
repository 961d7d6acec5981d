"""analyses and documents become one table of work"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import service.core.table_base

revision = '0003'
down_revision = '0002'
branch_labels = None
depends_on = None

# What analyses and documents have in common, in the order of the new table.
COMMON = (
    'id, tenant_id, created_at, status, stage, progress, attempt, crashes, lease_until, '
    'lease_holder, queued_at, started_at, finished_at, external_ref, artifacts, headline, problem'
)


def upgrade() -> None:
    moment = service.core.table_base.UtcDateTime(timezone=True)
    op.create_table('work',
    sa.Column('id', sa.String(length=255), nullable=False),
    sa.Column('tenant_id', sa.String(length=255), nullable=False),
    sa.Column('kind', sa.String(length=16), nullable=False),
    sa.Column('clip_id', sa.String(length=255), nullable=True),
    sa.Column('player_id', sa.String(length=255), nullable=True),
    sa.Column('created_at', moment, nullable=False),
    sa.Column('status', sa.String(length=16), nullable=False),
    sa.Column('stage', sa.String(length=16), nullable=True),
    sa.Column('progress', sa.Double(), nullable=False),
    sa.Column('attempt', sa.Integer(), nullable=False),
    sa.Column('crashes', sa.Integer(), nullable=False),
    sa.Column('lease_until', moment, nullable=True),
    sa.Column('lease_holder', sa.String(length=255), nullable=True),
    sa.Column('queued_at', moment, nullable=False),
    sa.Column('started_at', moment, nullable=True),
    sa.Column('finished_at', moment, nullable=True),
    sa.Column('external_ref', sa.String(length=255), nullable=True),
    sa.Column('request', sa.JSON(none_as_null=True), nullable=False),
    sa.Column('artifacts', sa.JSON(none_as_null=True), nullable=False),
    sa.Column('headline', sa.JSON(none_as_null=True), nullable=False),
    sa.Column('problem', sa.JSON(none_as_null=True), nullable=True),
    sa.CheckConstraint("(kind = 'analysis') = (clip_id IS NOT NULL)", name=op.f('ck_work_clip_of_analysis')),
    sa.ForeignKeyConstraint(['clip_id'], ['clips.id'], name=op.f('fk_work_clip_id_clips'), ondelete='CASCADE'),
    sa.ForeignKeyConstraint(['player_id'], ['players.id'], name=op.f('fk_work_player_id_players'), ondelete='CASCADE'),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_work'))
    )
    with op.batch_alter_table('work', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_work_clip_id'), ['clip_id'], unique=False)
        batch_op.create_index('ix_work_page', ['tenant_id', 'kind', 'created_at', 'id'], unique=False)
        batch_op.create_index(batch_op.f('ix_work_player_id'), ['player_id'], unique=False)
        batch_op.create_index('ix_work_unfinished', ['status', 'lease_until'], unique=False)

    op.create_table('work_inputs',
    sa.Column('work_id', sa.String(length=255), nullable=False),
    sa.Column('position', sa.Integer(), nullable=False),
    sa.Column('input_id', sa.String(length=255), nullable=False),
    sa.Column('side', sa.String(length=8), nullable=True),
    sa.ForeignKeyConstraint(['input_id'], ['work.id'], name=op.f('fk_work_inputs_input_id_work'), ondelete='CASCADE'),
    sa.ForeignKeyConstraint(['work_id'], ['work.id'], name=op.f('fk_work_inputs_work_id_work'), ondelete='CASCADE'),
    sa.PrimaryKeyConstraint('work_id', 'position', name=op.f('pk_work_inputs'))
    )
    with op.batch_alter_table('work_inputs', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_work_inputs_input_id'), ['input_id'], unique=False)

    # The options of an analysis move into its request.
    if op.get_bind().dialect.name == 'postgresql':
        request = "json_build_object('options', options)"
    else:
        request = "json_object('options', json(options))"
    op.execute(
        f"INSERT INTO work (kind, clip_id, player_id, request, {COMMON}) "
        f"SELECT 'analysis', clip_id, NULL, {request}, {COMMON} FROM analyses"
    )
    op.execute(
        f"INSERT INTO work (kind, clip_id, player_id, request, {COMMON}) "
        f"SELECT kind, NULL, player_id, request, {COMMON} FROM documents"
    )
    op.execute(
        "INSERT INTO work_inputs (work_id, position, input_id, side) "
        "SELECT document_id, position, analysis_id, side FROM document_inputs"
    )

    with op.batch_alter_table('outbox_events', schema=None) as batch_op:
        batch_op.add_column(sa.Column('work_id', sa.String(length=255), nullable=True))
    op.execute("UPDATE outbox_events SET work_id = COALESCE(analysis_id, document_id)")
    with op.batch_alter_table('outbox_events', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_outbox_events_analysis_id'))
        batch_op.drop_index(batch_op.f('ix_outbox_events_document_id'))
        batch_op.drop_constraint(batch_op.f('fk_outbox_events_analysis_id_analyses'), type_='foreignkey')
        batch_op.drop_constraint(batch_op.f('fk_outbox_events_document_id_documents'), type_='foreignkey')
        batch_op.drop_column('analysis_id')
        batch_op.drop_column('document_id')
        batch_op.create_index(batch_op.f('ix_outbox_events_work_id'), ['work_id'], unique=False)
        batch_op.create_foreign_key(batch_op.f('fk_outbox_events_work_id_work'), 'work', ['work_id'], ['id'], ondelete='CASCADE')

    op.drop_table('document_inputs')
    op.drop_table('documents')
    op.drop_table('analyses')


def downgrade() -> None:
    raise RuntimeError('work of new kinds would be lost: restore a backup instead')

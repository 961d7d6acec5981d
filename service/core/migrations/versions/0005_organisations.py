"""organisations; every row belongs to one, those before to the first"""

from __future__ import annotations

from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

import service.core.table_base

revision = '0005'
down_revision = '0004'
branch_labels = None
depends_on = None

OWNED = (
    'api_keys', 'players', 'sessions', 'clips', 'work', 'rule_files', 'webhook_endpoints',
    'outbox_events',
)
# Tables that did not say whose their rows are, and what tells it.
NEWLY_OWNED = {
    'work_inputs': 'SELECT work.tenant_id FROM work WHERE work.id = work_inputs.work_id',
    'deliveries': 'SELECT outbox_events.tenant_id FROM outbox_events '
                  'WHERE outbox_events.id = deliveries.event_id',
    'idempotent_replies': 'SELECT api_keys.tenant_id FROM api_keys '
                          'WHERE api_keys.id = idempotent_replies.api_key_id',
    'erasures': "SELECT CAST(NULL AS VARCHAR(255))",
}


def upgrade() -> None:
    moment = service.core.table_base.UtcDateTime(timezone=True)
    organisations = op.create_table('organisations',
    sa.Column('id', sa.String(length=255), nullable=False),
    sa.Column('created_at', moment, nullable=False),
    sa.Column('updated_at', moment, nullable=False),
    sa.Column('name', sa.String(length=255), nullable=False),
    sa.Column('limits', sa.JSON(none_as_null=True), nullable=False),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_organisations'))
    )
    op.create_index('ix_organisations_page', 'organisations', ['created_at', 'id'])
    op.create_table('usage',
    sa.Column('tenant_id', sa.String(length=255), nullable=False),
    sa.Column('month', sa.String(length=7), nullable=False),
    sa.Column('films', sa.BigInteger(), nullable=False),
    sa.Column('bytes', sa.BigInteger(), nullable=False),
    sa.Column('analyses', sa.BigInteger(), nullable=False),
    sa.Column('film_s', sa.Double(), nullable=False),
    sa.Column('processor_s', sa.Double(), nullable=False),
    sa.ForeignKeyConstraint(['tenant_id'], ['organisations.id'], name=op.f('fk_usage_tenant_id_organisations')),
    sa.PrimaryKeyConstraint('tenant_id', 'month', name=op.f('pk_usage'))
    )

    # The first organisation, and one for any other name that rows may bear already.
    found = {'main'}
    for table in OWNED:
        rows = op.get_bind().execute(sa.text(f'SELECT DISTINCT tenant_id FROM {table}'))
        found |= {row.tenant_id for row in rows}
    now = datetime.now(UTC)
    op.bulk_insert(organisations, [
        {'id': name, 'created_at': now, 'updated_at': now, 'name': name, 'limits': {}}
        for name in sorted(found)
    ])

    for table, owner in NEWLY_OWNED.items():
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.add_column(sa.Column('tenant_id', sa.String(length=255), nullable=True))
        op.execute(f"UPDATE {table} SET tenant_id = COALESCE(({owner}), 'main')")
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.alter_column('tenant_id', existing_type=sa.String(length=255), nullable=False)
            batch_op.create_foreign_key(batch_op.f(f'fk_{table}_tenant_id_organisations'), 'organisations', ['tenant_id'], ['id'])
    for table in OWNED:
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.create_foreign_key(batch_op.f(f'fk_{table}_tenant_id_organisations'), 'organisations', ['tenant_id'], ['id'])

    with op.batch_alter_table('api_keys', schema=None) as batch_op:
        batch_op.add_column(sa.Column('player_id', sa.String(length=255), nullable=True))
        batch_op.add_column(sa.Column('session_id', sa.String(length=255), nullable=True))
        batch_op.add_column(sa.Column('previous_digest', sa.String(length=64), nullable=True))
        batch_op.add_column(sa.Column('previous_until', moment, nullable=True))
        batch_op.add_column(sa.Column('rotated_at', moment, nullable=True))
        batch_op.create_index(batch_op.f('ix_api_keys_player_id'), ['player_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_api_keys_session_id'), ['session_id'], unique=False)
        batch_op.create_foreign_key(batch_op.f('fk_api_keys_player_id_players'), 'players', ['player_id'], ['id'], ondelete='CASCADE')
        batch_op.create_foreign_key(batch_op.f('fk_api_keys_session_id_sessions'), 'sessions', ['session_id'], ['id'], ondelete='CASCADE')


def downgrade() -> None:
    raise RuntimeError('organisations would lose their walls: restore a backup instead')

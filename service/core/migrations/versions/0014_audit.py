"""the audit log, which is only added to"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

import service.core.table_base

revision = '0014'
down_revision = '0013'
branch_labels = None
depends_on = None


def upgrade() -> None:
    text = sa.String(length=255)
    op.create_table(
        'audit_entries',
        sa.Column('id', text, nullable=False),
        sa.Column('tenant_id', text, nullable=False),
        sa.Column('created_at', service.core.table_base.UtcDateTime(timezone=True), nullable=False),
        sa.Column('actor_kind', sa.String(length=16), nullable=False),
        sa.Column('actor_id', text, nullable=False),
        sa.Column('action', text, nullable=False),
        sa.Column('subject_id', text, nullable=True),
        sa.Column('player_id', text, nullable=True),
        sa.ForeignKeyConstraint(
            ['tenant_id'], ['organisations.id'], name=op.f('fk_audit_entries_tenant_id_organisations')
        ),
        sa.PrimaryKeyConstraint('id', name=op.f('pk_audit_entries')),
    )
    op.create_index('ix_audit_entries_page', 'audit_entries', ['tenant_id', 'created_at', 'id'])
    op.create_index('ix_audit_entries_player', 'audit_entries', ['player_id', 'created_at'])
    if op.get_bind().dialect.name == 'sqlite':
        for event in ('UPDATE', 'DELETE'):
            op.execute(
                f"CREATE TRIGGER audit_entries_no_{event.lower()} BEFORE {event} ON audit_entries "
                "BEGIN SELECT RAISE(ABORT, 'the audit log is only added to'); END"
            )
    else:
        op.execute(
            "CREATE FUNCTION audit_entries_refuse() RETURNS trigger LANGUAGE plpgsql AS "
            "$$BEGIN RAISE EXCEPTION 'the audit log is only added to'; END$$"
        )
        op.execute(
            'CREATE TRIGGER audit_entries_only_added BEFORE UPDATE OR DELETE ON audit_entries '
            'FOR EACH ROW EXECUTE FUNCTION audit_entries_refuse()'
        )


def downgrade() -> None:
    raise RuntimeError('the audit log would be lost: restore a backup instead')

"""log of webhook tries, order by subject, rest and one address an endpoint"""

from __future__ import annotations

import hashlib
import json
from urllib.parse import urlsplit

import sqlalchemy as sa
from alembic import op

import service.core.table_base

revision = '0006'
down_revision = '0005'
branch_labels = None
depends_on = None


def digest_of(url: str) -> str:
    """As in service.core.endpoints when this was written."""
    parts = urlsplit(url)
    scheme, host = parts.scheme.lower(), (parts.hostname or '').rstrip('.')
    port = parts.port or {'https': 443, 'http': 80}.get(scheme)
    form = f"{scheme}://{host}:{port}{parts.path or '/'}?{parts.query}"
    return hashlib.sha256(form.encode()).hexdigest()


def upgrade() -> None:
    moment = service.core.table_base.UtcDateTime(timezone=True)
    connection = op.get_bind()

    with op.batch_alter_table('webhook_endpoints', schema=None) as batch_op:
        batch_op.add_column(sa.Column('url_digest', sa.String(length=64), nullable=True))
        batch_op.add_column(sa.Column('disabled_reason', sa.String(length=16), nullable=True))
        batch_op.add_column(sa.Column('disabled_at', moment, nullable=True))
        batch_op.add_column(sa.Column('failures', sa.Integer(), nullable=False, server_default='0'))
        batch_op.add_column(sa.Column('paused_until', moment, nullable=True))
        batch_op.add_column(sa.Column('last_claimed_at', moment, nullable=True))
    with op.batch_alter_table('webhook_endpoints', schema=None) as batch_op:
        batch_op.alter_column('failures', existing_type=sa.Integer(), server_default=None)
    taken: set[tuple[str, str]] = set()
    rows = connection.execute(
        sa.text('SELECT id, tenant_id, url FROM webhook_endpoints ORDER BY created_at, id')
    ).all()
    for row in rows:
        key = (row.tenant_id, digest_of(row.url))
        if key not in taken:  # the first of several has the address; the rest go on without
            taken.add(key)
            connection.execute(
                sa.text('UPDATE webhook_endpoints SET url_digest = :digest WHERE id = :id'),
                {'digest': key[1], 'id': row.id},
            )
    op.create_index('ix_webhook_endpoints_url', 'webhook_endpoints', ['tenant_id', 'url_digest'], unique=True)

    with op.batch_alter_table('outbox_events', schema=None) as batch_op:
        batch_op.add_column(sa.Column('subject', sa.String(length=255), nullable=True))
    for row in connection.execute(sa.text('SELECT id, body FROM outbox_events')).all():
        connection.execute(
            sa.text('UPDATE outbox_events SET subject = :subject WHERE id = :id'),
            {'subject': json.loads(row.body).get('subject'), 'id': row.id},
        )

    with op.batch_alter_table('deliveries', schema=None) as batch_op:
        batch_op.add_column(sa.Column('subject', sa.String(length=255), nullable=True))
        batch_op.add_column(sa.Column('created_at', moment, nullable=True))
        batch_op.add_column(sa.Column('queued_at', moment, nullable=True))
        batch_op.drop_index('ix_deliveries_due')
    of_event = 'FROM outbox_events WHERE outbox_events.id = deliveries.event_id'
    op.execute(
        'UPDATE deliveries SET '
        f"subject = (SELECT CASE WHEN type = 'webhook.test' THEN NULL ELSE subject END {of_event}), "
        f'created_at = (SELECT created_at {of_event}), queued_at = (SELECT created_at {of_event})'
    )
    with op.batch_alter_table('deliveries', schema=None) as batch_op:
        batch_op.alter_column('created_at', existing_type=moment, nullable=False)
        batch_op.alter_column('queued_at', existing_type=moment, nullable=False)
        batch_op.create_index('ix_deliveries_due', ['endpoint_id', 'state', 'due_at'])
        batch_op.create_index('ix_deliveries_order', ['endpoint_id', 'subject', 'state', 'created_at'])
        batch_op.create_index('ix_deliveries_page', ['endpoint_id', 'created_at', 'event_id'])

    op.create_table('delivery_tries',
    sa.Column('id', sa.String(length=255), nullable=False),
    sa.Column('tenant_id', sa.String(length=255), nullable=False),
    sa.Column('event_id', sa.String(length=255), nullable=False),
    sa.Column('endpoint_id', sa.String(length=255), nullable=False),
    sa.Column('number', sa.Integer(), nullable=False),
    sa.Column('tried_at', moment, nullable=False),
    sa.Column('took_s', sa.Double(), nullable=False),
    sa.Column('url', sa.String(length=2048), nullable=False),
    sa.Column('request_headers', sa.JSON(none_as_null=True), nullable=False),
    sa.Column('status', sa.Integer(), nullable=True),
    sa.Column('response_headers', sa.JSON(none_as_null=True), nullable=False),
    sa.Column('response_body', sa.Text(), nullable=True),
    sa.Column('error', sa.String(length=255), nullable=True),
    sa.ForeignKeyConstraint(['tenant_id'], ['organisations.id'], name=op.f('fk_delivery_tries_tenant_id_organisations')),
    sa.ForeignKeyConstraint(['event_id'], ['outbox_events.id'], name=op.f('fk_delivery_tries_event_id_outbox_events'), ondelete='CASCADE'),
    sa.ForeignKeyConstraint(['endpoint_id'], ['webhook_endpoints.id'], name=op.f('fk_delivery_tries_endpoint_id_webhook_endpoints'), ondelete='CASCADE'),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_delivery_tries'))
    )
    op.create_index('ix_delivery_tries_of', 'delivery_tries', ['endpoint_id', 'event_id', 'tried_at'])
    op.create_index(op.f('ix_delivery_tries_event_id'), 'delivery_tries', ['event_id'])
    op.create_index(op.f('ix_delivery_tries_tried_at'), 'delivery_tries', ['tried_at'])


def downgrade() -> None:
    raise RuntimeError('the log of webhooks would be lost: restore a backup instead')

"""People and how they sign in, whose cars they reach, visits to shops, and the record of change.

Locks: `car` ACCESS EXCLUSIVE while every row of it is written; `party` ACCESS EXCLUSIVE, `upload` ACCESS EXCLUSIVE,
`job` ACCESS EXCLUSIVE and `import_run` ACCESS EXCLUSIVE while each is looked through. The program before it writes no
keeper of a car, so that stops first.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import guard

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    _people()
    _signing_in()
    _changes()
    _parties()
    _visits()
    _whose()
    _keepers()
    for table, stamp in (
        ("change", False),
        ("change_about", False),
        ("visit", True),
        ("visit_step", True),
    ):
        columns = sa.inspect(op.get_bind()).get_columns(table)
        guard(table, [column["name"] for column in columns], stamp=stamp)


def _people() -> None:
    op.create_table(
        "attempt",
        sa.Column("id", KEY, nullable=False),
        sa.Column(
            "about",
            sa.String(length=64),
            nullable=False,
            comment="SHA-256 of the address of mail or of the network",
        ),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("weight", sa.SmallInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attempt")),
    )
    op.create_index("ix_attempt_about", "attempt", ["about", "kind", "at"], unique=False)
    op.create_table(
        "person",
        sa.Column("id", KEY, nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("email", sa.String(length=254), nullable=False, comment="in small letters"),
        sa.Column("password", sa.String(length=200), nullable=True, comment="a memory-hard hash"),
        sa.Column("password_set_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column(
            "code_secret",
            sa.String(length=300),
            nullable=True,
            comment="of time-based codes, sealed",
        ),
        sa.Column(
            "code_step",
            sa.Integer(),
            nullable=True,
            comment="the last used, so that no code counts twice",
        ),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column(
            "ended_at", sa.DateTime(timezone=True), nullable=True, comment="may sign in no longer"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("email", name=op.f("uq_person_email")),
    )
    op.create_table(
        "invitation",
        sa.Column("key_sha256", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("email", sa.String(length=254), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("person_id", KEY, nullable=True),
        sa.Column("party_id", KEY, nullable=True),
        sa.Column("roles", sa.JSON(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("made_by", sa.String(length=200), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column(
            "ended_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="taken back before its use",
        ),
        sa.CheckConstraint(
            "kind IN ('set_up', 'join', 'new_password')", name=op.f("ck_invitation_kind")
        ),
        sa.ForeignKeyConstraint(
            ["party_id"], ["party.id"], name=op.f("fk_invitation_party_id_party")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_invitation_person_id_person")
        ),
        sa.PrimaryKeyConstraint("key_sha256", name=op.f("pk_invitation")),
    )
    op.create_index(op.f("ix_invitation_party_id"), "invitation", ["party_id"], unique=False)
    op.create_table(
        "membership",
        sa.Column("id", KEY, nullable=False),
        sa.Column("person_id", KEY, nullable=False),
        sa.Column("party_id", KEY, nullable=False),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("added_by", sa.String(length=200), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_by", sa.String(length=200), nullable=True),
        sa.CheckConstraint(
            "role IN ('planner', 'compliance', 'inspector', 'shop', 'loading_rack', 'administrator')",
            name=op.f("ck_membership_role"),
        ),
        sa.ForeignKeyConstraint(
            ["party_id"], ["party.id"], name=op.f("fk_membership_party_id_party")
        ),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_membership_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_membership")),
    )
    op.create_index("ix_membership_party", "membership", ["party_id", "person_id"], unique=False)
    op.create_index(
        "uq_membership_current",
        "membership",
        ["person_id", "party_id", "role"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )


def _signing_in() -> None:
    op.create_table(
        "challenge",
        sa.Column("id", sa.String(length=64), nullable=False, comment="unguessable"),
        sa.Column("person_id", KEY, nullable=True),
        sa.Column("value", sa.LargeBinary(), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_challenge_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_challenge")),
    )
    op.create_table(
        "open_identity",
        sa.Column("id", KEY, nullable=False),
        sa.Column("person_id", KEY, nullable=False),
        sa.Column("issuer", sa.String(length=300), nullable=False),
        sa.Column("subject", sa.String(length=255), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_open_identity_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_open_identity")),
    )
    op.create_index(
        op.f("ix_open_identity_person_id"), "open_identity", ["person_id"], unique=False
    )
    op.create_index("uq_open_identity_subject", "open_identity", ["issuer", "subject"], unique=True)
    op.create_table(
        "passkey",
        sa.Column("id", KEY, nullable=False),
        sa.Column("person_id", KEY, nullable=False),
        sa.Column("credential_id", sa.LargeBinary(), nullable=False),
        sa.Column("public_key", sa.LargeBinary(), nullable=False),
        sa.Column("uses", sa.Integer(), nullable=False, comment="the key's own count"),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("added_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_passkey_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_passkey")),
        sa.UniqueConstraint("credential_id", name=op.f("uq_passkey_credential_id")),
    )
    op.create_index(op.f("ix_passkey_person_id"), "passkey", ["person_id"], unique=False)
    op.create_table(
        "recovery_code",
        sa.Column("id", KEY, nullable=False),
        sa.Column("person_id", KEY, nullable=False),
        sa.Column("code_sha256", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_recovery_code_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recovery_code")),
        sa.UniqueConstraint("code_sha256", name=op.f("uq_recovery_code_code_sha256")),
    )
    op.create_index(
        op.f("ix_recovery_code_person_id"), "recovery_code", ["person_id"], unique=False
    )
    op.create_table(
        "sign_in",
        sa.Column("key_sha256", sa.String(length=64), nullable=False),
        sa.Column("person_id", KEY, nullable=False),
        sa.Column(
            "how", sa.String(length=20), nullable=False, comment="password, passkey, openid, set_up"
        ),
        sa.Column(
            "second",
            sa.String(length=20),
            nullable=False,
            comment="code, recovery, passkey; 'wanted' until it was given",
        ),
        sa.Column("address", sa.String(length=60), nullable=False),
        sa.Column("browser", sa.String(length=200), nullable=False),
        sa.Column("began_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("seen_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column(
            "proved_at",
            sa.DateTime(timezone=True),
            nullable=False,
            comment="when a secret was last given, for what asks for a fresh one",
        ),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_sign_in_person_id_person")
        ),
        sa.PrimaryKeyConstraint("key_sha256", name=op.f("pk_sign_in")),
    )
    op.create_index(op.f("ix_sign_in_person_id"), "sign_in", ["person_id"], unique=False)
    op.create_table(
        "token",
        sa.Column("id", KEY, nullable=False),
        sa.Column("person_id", KEY, nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("key_sha256", sa.String(length=64), nullable=False),
        sa.Column("scopes", sa.JSON(), nullable=False),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("expires_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("used_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("used_from", sa.String(length=60), nullable=False),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_token_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_token")),
        sa.UniqueConstraint("key_sha256", name=op.f("uq_token_key_sha256")),
    )
    op.create_index(op.f("ix_token_person_id"), "token", ["person_id"], unique=False)


def _changes() -> None:
    op.create_table(
        "change",
        sa.Column("id", KEY, nullable=False),
        sa.Column("at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.Column("person_id", KEY, nullable=True),
        sa.Column(
            "origin", sa.String(length=10), nullable=False, comment="page, api, command or job"
        ),
        sa.Column("address", sa.String(length=60), nullable=False, comment="of the network"),
        sa.Column("request", sa.String(length=64), nullable=False),
        sa.Column("deed", sa.String(length=60), nullable=False, comment="such as event.corrected"),
        sa.Column(
            "body",
            sa.Text(),
            nullable=False,
            comment="rows before and after, as JSON, word for word as it was hashed",
        ),
        sa.Column(
            "previous", sa.String(length=64), nullable=False, comment="hash of the entry before"
        ),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_change_person_id_person")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_change")),
        sa.UniqueConstraint("hash", name=op.f("uq_change_hash")),
    )
    op.create_index(op.f("ix_change_person_id"), "change", ["person_id"], unique=False)
    op.create_table(
        "change_about",
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("key", sa.String(length=60), nullable=False),
        sa.Column("change_id", KEY, nullable=False),
        sa.ForeignKeyConstraint(
            ["change_id"], ["change.id"], name=op.f("fk_change_about_change_id_change")
        ),
        sa.PrimaryKeyConstraint("kind", "key", "change_id", name=op.f("pk_change_about")),
    )
    op.create_index("ix_change_about_change", "change_about", ["change_id"], unique=False)


def _visits() -> None:
    op.create_table(
        "car_reach",
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("party_id", KEY, nullable=False),
        sa.Column("kind", sa.String(length=10), nullable=False),
        sa.CheckConstraint(
            "kind IN ('lining', 'equipment', 'shop')", name=op.f("ck_car_reach_kind")
        ),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_car_reach_car_id_car")),
        sa.ForeignKeyConstraint(
            ["party_id"], ["party.id"], name=op.f("fk_car_reach_party_id_party")
        ),
        sa.PrimaryKeyConstraint("car_id", "party_id", "kind", name=op.f("pk_car_reach")),
    )
    op.create_index("ix_car_reach_party", "car_reach", ["party_id", "kind", "car_id"], unique=False)
    op.create_table(
        "visit",
        sa.Column("car_id", KEY, nullable=False),
        sa.Column("shop_id", KEY, nullable=False),
        sa.Column("instructions", sa.Text(), nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column("import_id", KEY, nullable=True, comment="the file that brought it"),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects", KEY, nullable=True, comment="the row of this table that this one replaces"
        ),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_visit_car_id_car")),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_visit_import_id_import_run")
        ),
        sa.ForeignKeyConstraint(["shop_id"], ["party.id"], name=op.f("fk_visit_shop_id_party")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit")),
        sa.UniqueConstraint("corrects", name=op.f("uq_visit_corrects")),
    )
    op.create_index(op.f("ix_visit_car_id"), "visit", ["car_id"], unique=False)
    op.create_index(op.f("ix_visit_import_id"), "visit", ["import_id"], unique=False)
    op.create_index(op.f("ix_visit_shop_id"), "visit", ["shop_id"], unique=False)
    op.create_table(
        "visit_step",
        sa.Column("visit_id", KEY, nullable=False),
        sa.Column("step", sa.String(length=12), nullable=False),
        sa.Column("happened_on", sa.Date(), nullable=False),
        sa.Column("id", KEY, nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column("import_id", KEY, nullable=True, comment="the file that brought it"),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects", KEY, nullable=True, comment="the row of this table that this one replaces"
        ),
        sa.CheckConstraint(
            "step IN ('planned', 'sent', 'arrived', 'released', 'cancelled')",
            name=op.f("ck_visit_step_step"),
        ),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_visit_step_import_id_import_run")
        ),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_visit_step_visit_id_visit")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_visit_step")),
        sa.UniqueConstraint("corrects", name=op.f("uq_visit_step_corrects")),
    )
    op.create_index(op.f("ix_visit_step_import_id"), "visit_step", ["import_id"], unique=False)
    op.create_index(op.f("ix_visit_step_visit_id"), "visit_step", ["visit_id"], unique=False)


def _parties() -> None:
    """A name is unique among the parties of one keeper, not among all; SQLite needs the table rebuilt."""
    with op.batch_alter_table("party") as party:
        party.add_column(
            sa.Column(
                "kept_by",
                KEY,
                nullable=True,
                comment="whose people keep its records; null: its own",
            )
        )
        party.add_column(
            sa.Column("keeps_register", sa.Boolean(), nullable=False, server_default=sa.false())
        )
        party.drop_constraint("uq_party_name", type_="unique")
        party.create_foreign_key("fk_party_kept_by_party", "party", ["kept_by"], ["id"])
    op.create_index(
        "uq_party_own_name", "party", ["name"], unique=True,
        sqlite_where=sa.text("kept_by IS NULL"), postgresql_where=sa.text("kept_by IS NULL"),
    )  # fmt: skip
    op.create_index("uq_party_kept_name", "party", ["kept_by", "name"], unique=True)
    op.create_index(
        "uq_party_keeps_register", "party", ["keeps_register"], unique=True,
        sqlite_where=sa.text("keeps_register"), postgresql_where=sa.text("keeps_register"),
    )  # fmt: skip


def _whose() -> None:
    for table in ("import_run", "job", "upload"):
        with op.batch_alter_table(table) as changed:
            changed.add_column(sa.Column("person_id", KEY, nullable=True))
            changed.create_foreign_key(
                f"fk_{table}_person_id_person", "person", ["person_id"], ["id"]
            )
    op.add_column(
        "import_run",
        sa.Column(
            "parties", sa.JSON(), nullable=True,
            comment="whose cars it could be about; null: anybody's",
        ),
    )  # fmt: skip


def _keepers() -> None:
    """Two registers may each have a car of one name; until somebody is set up each owner is its own keeper."""
    standing = sa.text("standing IN ('in_service', 'out_of_service', 'stored')")
    op.drop_index("uq_car_name_in_record", "car")
    with op.batch_alter_table("car") as car:
        car.add_column(
            sa.Column(
                "keeper_id",
                KEY,
                nullable=True,
                comment="whose people keep its records: the owner or its keeper",
            )
        )
        car.add_column(
            sa.Column(
                "twin",
                KEY,
                nullable=False,
                server_default="0",
                comment="its own key where it came to a keeper who had a car of its name in record, else 0",
            )
        )
        car.create_foreign_key("fk_car_keeper_id_party", "party", ["keeper_id"], ["id"])
    op.execute("UPDATE car SET keeper_id = owner_id")
    with op.batch_alter_table("car") as car:
        car.alter_column("keeper_id", existing_type=KEY, nullable=False)
    op.create_index(
        "uq_car_name_in_record",
        "car",
        ["mark", "number", "keeper_id", "twin"],
        unique=True,
        sqlite_where=standing,
        postgresql_where=standing,
    )

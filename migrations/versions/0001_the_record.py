"""The record, the derived rows, files and jobs; and the triggers that keep the record.

Locks: nothing, since the store is empty.
"""

import sqlalchemy as sa
from alembic import op

from migrations.append_only import create_functions, guard, month_on_its_first, refuse_future

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

STAMPED = (
    "car_name", "ownership", "standing", "construction", "service", "lining", "fitting", "stencil",
    "approval", "component", "installation", "removal", "event",
)  # fmt: skip
FIXED = ("reading", "withdrawal")
NOT_IN_FUTURE = (
    ("event", "happened_on"),
    ("installation", "installed_on"), ("installation", "tested_on"), ("removal", "removed_on"),
    ("construction", "built_on"), ("construction", "rebuilt_on"),
    ("lining", "applied_on"), ("fitting", "sheeting_installed_on"), ("stencil", "marked_on"),
    *((table, "from_on") for table in (
        "car_name", "ownership", "standing", "construction", "service", "lining", "fitting",
        "stencil", "approval", "installation",
    )),
)  # fmt: skip


def columns_of(table: str) -> list[str]:
    return [column["name"] for column in sa.inspect(op.get_bind()).get_columns(table)]


def upgrade() -> None:
    create_functions()
    op.create_table(
        "import_run",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("file_name", sa.String(length=200), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("added", sa.Integer(), nullable=False),
        sa.Column("changed", sa.Integer(), nullable=False),
        sa.Column("repeated", sa.Integer(), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column("taken_back_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column("taken_back_by", sa.String(length=200), nullable=True),
        sa.CheckConstraint(
            "kind IN ('cars', 'components', 'events', 'ladings')", name=op.f("ck_import_run_kind")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_import_run")),
    )
    op.create_table(
        "job",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=30), nullable=False),
        sa.Column("payload", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(length=10), nullable=False),
        sa.Column("step", sa.String(length=200), nullable=False),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("result", sa.JSON(), nullable=True),
        sa.Column("error", sa.Text(), nullable=False),
        sa.Column("asked_by", sa.String(length=200), nullable=False),
        sa.Column("asked_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("started_at", sa.DateTime(timezone=True), nullable=True),
        sa.Column(
            "heard_at", sa.DateTime(timezone=True), nullable=True, comment="last sign of life"
        ),
        sa.Column("ended_at", sa.DateTime(timezone=True), nullable=True),
        sa.CheckConstraint(
            "state IN ('waiting', 'running', 'done', 'failed')", name=op.f("ck_job_state")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
    )
    op.create_index("ix_job_state_asked", "job", ["state", "asked_at"], unique=False)
    op.create_table(
        "lading",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("un", sa.String(length=6), nullable=True),
        sa.Column("hazardous", sa.Boolean(), nullable=False),
        sa.Column("hazard_class", sa.String(length=10), nullable=True),
        sa.Column("packing_group", sa.String(length=3), nullable=True),
        sa.Column("poison_by_inhalation", sa.Boolean(), nullable=True),
        sa.Column("corrosive_or_reactive", sa.Boolean(), nullable=True),
        sa.Column("corrosion_rate_mil_per_year", sa.BigInteger(), nullable=True),
        sa.CheckConstraint(
            "packing_group IN ('I', 'II', 'III')", name=op.f("ck_lading_packing_group")
        ),
        sa.CheckConstraint("corrosion_rate_mil_per_year >= 0", name=op.f("ck_lading_rate")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lading")),
        sa.UniqueConstraint("name", name=op.f("uq_lading_name")),
    )
    op.create_table(
        "party",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("time_zone", sa.String(length=60), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_party")),
        sa.UniqueConstraint("name", name=op.f("uq_party_name")),
    )
    op.create_table(
        "upload",
        sa.Column("id", sa.String(length=40), nullable=False, comment="unguessable"),
        sa.Column("kind", sa.String(length=12), nullable=False),
        sa.Column("file_name", sa.String(length=200), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.Column("uploaded_at", sa.DateTime(timezone=True), nullable=False),
        sa.CheckConstraint(
            "kind IN ('cars', 'components', 'events', 'ladings')", name=op.f("ck_upload_kind")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_upload")),
    )
    op.create_table(
        "withdrawal",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("table_name", sa.String(length=30), nullable=False),
        sa.Column("row_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_withdrawal")),
    )
    op.create_index("uq_withdrawal_row", "withdrawal", ["table_name", "row_id"], unique=True)
    op.create_table(
        "car",
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("owner_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("mark", sa.String(length=4), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("region", sa.String(length=200), nullable=False),
        sa.Column("standing", sa.String(length=20), nullable=False),
        sa.Column("specification", sa.String(length=60), nullable=False),
        sa.Column("specification_class", sa.String(length=3), nullable=False),
        sa.Column("commodity", sa.String(length=200), nullable=False),
        sa.Column("built_on", sa.Date(), nullable=True),
        sa.Column("next_item", sa.String(length=30), nullable=True, comment="what falls due first"),
        sa.Column("next_state", sa.String(length=12), nullable=True),
        sa.Column("next_due_on", sa.Date(), nullable=True),
        sa.CheckConstraint(
            "standing IN ('in_service', 'out_of_service', 'stored', 'sold', 'scrapped', 'withdrawn')",
            name=op.f("ck_car_standing"),
        ),
        sa.CheckConstraint(
            "length(mark) BETWEEN 2 AND 4 AND mark = upper(mark)", name=op.f("ck_car_mark")
        ),
        sa.CheckConstraint("number BETWEEN 1 AND 999999", name=op.f("ck_car_number")),
        sa.ForeignKeyConstraint(["owner_id"], ["party.id"], name=op.f("fk_car_owner_id_party")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_car")),
    )
    op.create_index(
        "ix_car_owner_register",
        "car",
        ["owner_id", "mark", "number", "id", "standing"],
        unique=False,
    )
    op.create_index(
        "ix_car_region_register",
        "car",
        ["region", "mark", "number", "id", "standing"],
        unique=False,
    )
    op.create_index("ix_car_register", "car", ["mark", "number", "id", "standing"], unique=False)
    op.create_index(
        "ix_car_standing_register", "car", ["standing", "mark", "number", "id"], unique=False
    )
    op.create_index(
        "uq_car_name_in_record",
        "car",
        ["mark", "number"],
        unique=True,
        sqlite_where=sa.text("standing IN ('in_service', 'out_of_service', 'stored')"),
        postgresql_where=sa.text("standing IN ('in_service', 'out_of_service', 'stored')"),
    )
    op.create_table(
        "component",
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("maker", sa.String(length=200), nullable=False),
        sa.Column("model", sa.String(length=200), nullable=False),
        sa.Column("lot", sa.String(length=200), nullable=False),
        sa.Column("serial", sa.String(length=200), nullable=False),
        sa.Column("owner_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_component_import_id_import_run")
        ),
        sa.ForeignKeyConstraint(
            ["owner_id"], ["party.id"], name=op.f("fk_component_owner_id_party")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_component")),
        sa.UniqueConstraint("corrects", name=op.f("uq_component_corrects")),
    )
    op.create_index(op.f("ix_component_import_id"), "component", ["import_id"], unique=False)
    op.create_index(
        "ix_component_kind_maker_model",
        "component",
        ["kind", "maker", "model", "lot"],
        unique=False,
    )
    op.create_table(
        "approval",
        sa.Column("item", sa.String(length=30), nullable=False),
        sa.Column("interval_months", sa.SmallInteger(), nullable=True),
        sa.Column("reference", sa.String(length=200), nullable=False),
        sa.Column("stenciled", sa.Boolean(), nullable=False),
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.CheckConstraint(
            "item IN ('visual', 'structural_integrity', 'safety_systems', 'thickness', 'lining', "
            "'service_equipment', 'relief_device')",
            name=op.f("ck_approval_item"),
        ),
        sa.CheckConstraint(
            "interval_months > 0", name=op.f("ck_approval_interval_months_above_zero")
        ),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_approval_car_id_car")),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_approval_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_approval")),
        sa.UniqueConstraint("corrects", name=op.f("uq_approval_corrects")),
    )
    op.create_index("ix_approval_by_car", "approval", ["car_id", "from_on", "id"], unique=False)
    op.create_index(op.f("ix_approval_import_id"), "approval", ["import_id"], unique=False)
    op.create_table(
        "car_name",
        sa.Column("mark", sa.String(length=4), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.CheckConstraint(
            "length(mark) BETWEEN 2 AND 4 AND mark = upper(mark)", name=op.f("ck_car_name_mark")
        ),
        sa.CheckConstraint("number BETWEEN 1 AND 999999", name=op.f("ck_car_name_number")),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_car_name_car_id_car")),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_car_name_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_car_name")),
        sa.UniqueConstraint("corrects", name=op.f("uq_car_name_corrects")),
    )
    op.create_index("ix_car_name_by_car", "car_name", ["car_id", "from_on", "id"], unique=False)
    op.create_index(op.f("ix_car_name_import_id"), "car_name", ["import_id"], unique=False)
    op.create_index("ix_car_name_mark_number", "car_name", ["mark", "number"], unique=False)
    op.create_table(
        "construction",
        sa.Column("specification", sa.String(length=60), nullable=False),
        sa.Column("built_on", sa.Date(), nullable=True),
        sa.Column("rebuilt_on", sa.Date(), nullable=True),
        sa.Column("material", sa.String(length=20), nullable=True),
        sa.Column("tensile_psi", sa.BigInteger(), nullable=True),
        sa.Column("inside_diameter_in", sa.BigInteger(), nullable=True),
        sa.Column("joint_efficiency", sa.BigInteger(), nullable=True),
        sa.Column("head_shape", sa.String(length=3), nullable=True),
        sa.Column("jacketed", sa.Boolean(), nullable=True),
        sa.Column("insulated", sa.Boolean(), nullable=True),
        sa.Column("thermal_protection", sa.Boolean(), nullable=True),
        sa.Column("built_to", sa.String(length=20), nullable=True),
        sa.Column("normalized_steel", sa.Boolean(), nullable=True),
        sa.Column("required_shell_top_in", sa.BigInteger(), nullable=True),
        sa.Column("required_shell_bottom_in", sa.BigInteger(), nullable=True),
        sa.Column("required_head_a_in", sa.BigInteger(), nullable=True),
        sa.Column("required_head_b_in", sa.BigInteger(), nullable=True),
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.CheckConstraint("head_shape IN ('2:1', '3:1')", name=op.f("ck_construction_head_shape")),
        sa.CheckConstraint(
            "inside_diameter_in > 0", name=op.f("ck_construction_inside_diameter_in_above_zero")
        ),
        sa.CheckConstraint(
            "joint_efficiency > 0", name=op.f("ck_construction_joint_efficiency_above_zero")
        ),
        sa.CheckConstraint(
            "rebuilt_on >= built_on", name=op.f("ck_construction_rebuilt_after_built")
        ),
        sa.CheckConstraint(
            "required_head_a_in > 0", name=op.f("ck_construction_required_head_a_in_above_zero")
        ),
        sa.CheckConstraint(
            "required_head_b_in > 0", name=op.f("ck_construction_required_head_b_in_above_zero")
        ),
        sa.CheckConstraint(
            "required_shell_bottom_in > 0",
            name=op.f("ck_construction_required_shell_bottom_in_above_zero"),
        ),
        sa.CheckConstraint(
            "required_shell_top_in > 0",
            name=op.f("ck_construction_required_shell_top_in_above_zero"),
        ),
        sa.CheckConstraint("tensile_psi > 0", name=op.f("ck_construction_tensile_psi_above_zero")),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_construction_car_id_car")),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_construction_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_construction")),
        sa.UniqueConstraint("corrects", name=op.f("uq_construction_corrects")),
    )
    op.create_index(
        "ix_construction_by_car", "construction", ["car_id", "from_on", "id"], unique=False
    )
    op.create_index(op.f("ix_construction_import_id"), "construction", ["import_id"], unique=False)
    op.create_table(
        "due",
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "item_no", sa.SmallInteger(), nullable=False, comment="place in core.facts.ITEMS"
        ),
        sa.Column("item", sa.String(length=30), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("due_on", sa.Date(), nullable=True),
        sa.Column("basis_on", sa.Date(), nullable=True),
        sa.Column("interval_months", sa.SmallInteger(), nullable=True),
        sa.Column("calculated_due_on", sa.Date(), nullable=True),
        sa.Column("confidence", sa.String(length=10), nullable=False),
        sa.Column("citation", sa.String(length=80), nullable=False),
        sa.Column("reasons", sa.Text(), nullable=False),
        sa.Column("owner_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("region", sa.String(length=200), nullable=False),
        sa.Column("mark", sa.String(length=4), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("listed", sa.Boolean(), nullable=False, comment="the car is in service"),
        sa.Column(
            "hazardous",
            sa.Boolean(),
            nullable=False,
            comment="its lading is, so that overdue means: may not load",
        ),
        sa.CheckConstraint("confidence IN ('verified', 'memory')", name=op.f("ck_due_confidence")),
        sa.CheckConstraint(
            "due_on IS NOT NULL OR state NOT IN ('owed', 'dated')", name=op.f("ck_due_dated")
        ),
        sa.CheckConstraint(
            "state IN ('owed', 'dated', 'by_event', 'unknown', 'not_required')",
            name=op.f("ck_due_state"),
        ),
        sa.CheckConstraint(
            "length(mark) BETWEEN 2 AND 4 AND mark = upper(mark)", name=op.f("ck_due_mark")
        ),
        sa.CheckConstraint("number BETWEEN 1 AND 999999", name=op.f("ck_due_number")),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_due_car_id_car")),
        sa.ForeignKeyConstraint(["owner_id"], ["party.id"], name=op.f("fk_due_owner_id_party")),
        sa.PrimaryKeyConstraint("car_id", "item_no", name=op.f("pk_due")),
    )
    op.create_index(
        "ix_due_owner",
        "due",
        ["owner_id", "due_on", "mark", "number", "item_no", "listed", "region", "state"],
        unique=False,
    )
    op.create_index(
        "ix_due_soonest",
        "due",
        ["due_on", "mark", "number", "item_no", "listed", "region", "state", "owner_id"],
        unique=False,
    )
    op.create_index(
        "ix_due_state",
        "due",
        ["state", "due_on", "mark", "number", "item_no", "listed", "region", "owner_id"],
        unique=False,
    )
    op.create_table(
        "event",
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("happened_on", sa.Date(), nullable=False),
        sa.Column("month_only", sa.Boolean(), nullable=False),
        sa.Column("items", sa.String(length=300), nullable=False),
        sa.Column("outcome", sa.String(length=4), nullable=False),
        sa.Column("opens", sa.String(length=300), nullable=False),
        sa.Column("facility", sa.String(length=200), nullable=False),
        sa.Column("inspector", sa.String(length=200), nullable=False),
        sa.Column("reference", sa.String(length=200), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column(
            "form_key",
            sa.String(length=40),
            nullable=True,
            comment="a form sent twice is one event",
        ),
        sa.Column(
            "original_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the first row of its chain of corrections, which gives its place within the day",
        ),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.CheckConstraint("outcome IN ('pass', 'fail')", name=op.f("ck_event_outcome")),
        sa.CheckConstraint("length(items) > 0", name=op.f("ck_event_items")),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_event_car_id_car")),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_event_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_event")),
        sa.UniqueConstraint("corrects", name=op.f("uq_event_corrects")),
    )
    op.create_index("ix_event_by_car", "event", ["car_id", "happened_on"], unique=False)
    op.create_index(op.f("ix_event_import_id"), "event", ["import_id"], unique=False)
    op.create_index("uq_event_form_key", "event", ["form_key", "car_id"], unique=True)
    op.create_index(
        "uq_event_known_by",
        "event",
        ["car_id", "happened_on", "items", "facility"],
        unique=True,
        sqlite_where=sa.text("superseded_at IS NULL"),
        postgresql_where=sa.text("superseded_at IS NULL"),
    )
    op.create_table(
        "fitting",
        sa.Column(
            "has_relief_device", sa.Boolean(), nullable=True, comment="false: the car has none"
        ),
        sa.Column("service_equipment_interval_months", sa.SmallInteger(), nullable=True),
        sa.Column("sheeting_installed_on", sa.Date(), nullable=True),
        sa.Column("sheeting_method", sa.String(length=20), nullable=True),
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.CheckConstraint(
            "sheeting_method IN ('replacement', 'comparator')",
            name=op.f("ck_fitting_sheeting_method"),
        ),
        sa.CheckConstraint(
            "service_equipment_interval_months > 0",
            name=op.f("ck_fitting_service_equipment_interval_months_above_zero"),
        ),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_fitting_car_id_car")),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_fitting_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_fitting")),
        sa.UniqueConstraint("corrects", name=op.f("uq_fitting_corrects")),
    )
    op.create_index("ix_fitting_by_car", "fitting", ["car_id", "from_on", "id"], unique=False)
    op.create_index(op.f("ix_fitting_import_id"), "fitting", ["import_id"], unique=False)
    op.create_table(
        "installation",
        sa.Column(
            "component_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("position", sa.String(length=60), nullable=False),
        sa.Column("installed_on", sa.Date(), nullable=True),
        sa.Column("installed_month_only", sa.Boolean(), nullable=False),
        sa.Column("tested_on", sa.Date(), nullable=True),
        sa.Column("set_psig", sa.BigInteger(), nullable=True),
        sa.Column("protected_in_storage", sa.Boolean(), nullable=True),
        sa.Column("owner_interval_months", sa.SmallInteger(), nullable=True),
        sa.Column("found_psig", sa.BigInteger(), nullable=True),
        sa.Column("left_psig", sa.BigInteger(), nullable=True),
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.CheckConstraint(
            "owner_interval_months > 0",
            name=op.f("ck_installation_owner_interval_months_above_zero"),
        ),
        sa.CheckConstraint("set_psig > 0", name=op.f("ck_installation_set_psig_above_zero")),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_installation_car_id_car")),
        sa.ForeignKeyConstraint(
            ["component_id"], ["component.id"], name=op.f("fk_installation_component_id_component")
        ),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_installation_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_installation")),
        sa.UniqueConstraint("corrects", name=op.f("uq_installation_corrects")),
    )
    op.create_index(
        "ix_installation_by_car", "installation", ["car_id", "from_on", "id"], unique=False
    )
    op.create_index(
        op.f("ix_installation_component_id"), "installation", ["component_id"], unique=False
    )
    op.create_index(op.f("ix_installation_import_id"), "installation", ["import_id"], unique=False)
    op.create_table(
        "lining",
        sa.Column("lined", sa.Boolean(), nullable=False),
        sa.Column("kind", sa.String(length=80), nullable=True),
        sa.Column("applied_on", sa.Date(), nullable=True),
        sa.Column("owner_interval_months", sa.SmallInteger(), nullable=True),
        sa.Column("documented", sa.Boolean(), nullable=False),
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.CheckConstraint(
            "owner_interval_months > 0", name=op.f("ck_lining_owner_interval_months_above_zero")
        ),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_lining_car_id_car")),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_lining_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_lining")),
        sa.UniqueConstraint("corrects", name=op.f("uq_lining_corrects")),
    )
    op.create_index("ix_lining_by_car", "lining", ["car_id", "from_on", "id"], unique=False)
    op.create_index(op.f("ix_lining_import_id"), "lining", ["import_id"], unique=False)
    op.create_table(
        "ownership",
        sa.Column("owner_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column(
            "lining_owner_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="who pays for the lining, where not the owner (180.503)",
        ),
        sa.Column(
            "equipment_owner_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="who maintains service equipment, where not the owner",
        ),
        sa.Column("region", sa.String(length=200), nullable=False),
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_ownership_car_id_car")),
        sa.ForeignKeyConstraint(
            ["equipment_owner_id"], ["party.id"], name=op.f("fk_ownership_equipment_owner_id_party")
        ),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_ownership_import_id_import_run")
        ),
        sa.ForeignKeyConstraint(
            ["lining_owner_id"], ["party.id"], name=op.f("fk_ownership_lining_owner_id_party")
        ),
        sa.ForeignKeyConstraint(
            ["owner_id"], ["party.id"], name=op.f("fk_ownership_owner_id_party")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ownership")),
        sa.UniqueConstraint("corrects", name=op.f("uq_ownership_corrects")),
    )
    op.create_index("ix_ownership_by_car", "ownership", ["car_id", "from_on", "id"], unique=False)
    op.create_index(op.f("ix_ownership_import_id"), "ownership", ["import_id"], unique=False)
    op.create_table(
        "service",
        sa.Column("commodity", sa.String(length=200), nullable=False),
        sa.Column("un", sa.String(length=6), nullable=True),
        sa.Column("hazardous", sa.Boolean(), nullable=False),
        sa.Column("hazard_class", sa.String(length=10), nullable=True),
        sa.Column("packing_group", sa.String(length=3), nullable=True),
        sa.Column("poison_by_inhalation", sa.Boolean(), nullable=True),
        sa.Column(
            "corrosive_or_reactive",
            sa.Boolean(),
            nullable=True,
            comment="as the owner stated; null is not stated",
        ),
        sa.Column("corrosion_rate_mil_per_year", sa.BigInteger(), nullable=True),
        sa.Column("fluorinated_hydrocarbon_only", sa.Boolean(), nullable=False),
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.CheckConstraint(
            "packing_group IN ('I', 'II', 'III')", name=op.f("ck_service_packing_group")
        ),
        sa.CheckConstraint("corrosion_rate_mil_per_year >= 0", name=op.f("ck_service_rate")),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_service_car_id_car")),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_service_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_service")),
        sa.UniqueConstraint("corrects", name=op.f("uq_service_corrects")),
    )
    op.create_index("ix_service_by_car", "service", ["car_id", "from_on", "id"], unique=False)
    op.create_index(op.f("ix_service_import_id"), "service", ["import_id"], unique=False)
    op.create_table(
        "standing",
        sa.Column("standing", sa.String(length=20), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.CheckConstraint(
            "standing IN ('in_service', 'out_of_service', 'stored', 'sold', 'scrapped', 'withdrawn')",
            name=op.f("ck_standing_standing"),
        ),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_standing_car_id_car")),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_standing_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_standing")),
        sa.UniqueConstraint("corrects", name=op.f("uq_standing_corrects")),
    )
    op.create_index("ix_standing_by_car", "standing", ["car_id", "from_on", "id"], unique=False)
    op.create_index(op.f("ix_standing_import_id"), "standing", ["import_id"], unique=False)
    op.create_table(
        "stencil",
        sa.Column("marked_on", sa.Date(), nullable=True),
        sa.Column("visual", sa.String(length=10), nullable=True),
        sa.Column("structural_integrity", sa.String(length=10), nullable=True),
        sa.Column("safety_systems", sa.String(length=10), nullable=True),
        sa.Column("thickness", sa.String(length=10), nullable=True),
        sa.Column("lining", sa.String(length=10), nullable=True),
        sa.Column("service_equipment", sa.String(length=10), nullable=True),
        sa.Column("relief_device", sa.String(length=10), nullable=True),
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("from_on", sa.Date(), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.CheckConstraint("length(lining) IN (4, 7, 10)", name=op.f("ck_stencil_lining")),
        sa.CheckConstraint(
            "length(relief_device) IN (4, 7, 10)", name=op.f("ck_stencil_relief_device")
        ),
        sa.CheckConstraint(
            "length(safety_systems) IN (4, 7, 10)", name=op.f("ck_stencil_safety_systems")
        ),
        sa.CheckConstraint(
            "length(service_equipment) IN (4, 7, 10)", name=op.f("ck_stencil_service_equipment")
        ),
        sa.CheckConstraint(
            "length(structural_integrity) IN (4, 7, 10)",
            name=op.f("ck_stencil_structural_integrity"),
        ),
        sa.CheckConstraint("length(thickness) IN (4, 7, 10)", name=op.f("ck_stencil_thickness")),
        sa.CheckConstraint("length(visual) IN (4, 7, 10)", name=op.f("ck_stencil_visual")),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_stencil_car_id_car")),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_stencil_import_id_import_run")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_stencil")),
        sa.UniqueConstraint("corrects", name=op.f("uq_stencil_corrects")),
    )
    op.create_index("ix_stencil_by_car", "stencil", ["car_id", "from_on", "id"], unique=False)
    op.create_index(op.f("ix_stencil_import_id"), "stencil", ["import_id"], unique=False)
    op.create_table(
        "reading",
        sa.Column("event_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("place", sa.SmallInteger(), nullable=False, comment="its place in the report"),
        sa.Column("car_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("zone", sa.String(length=20), nullable=False),
        sa.Column("inches", sa.BigInteger(), nullable=False),
        sa.Column("extent", sa.String(length=10), nullable=False),
        sa.Column("span_in", sa.BigInteger(), nullable=True),
        sa.Column("apart_in", sa.BigInteger(), nullable=True),
        sa.CheckConstraint("extent IN ('general', 'local')", name=op.f("ck_reading_extent")),
        sa.CheckConstraint(
            "zone IN ('shell_top', 'shell_bottom', 'head_a', 'head_b', 'sump', 'nozzle', 'housing')",
            name=op.f("ck_reading_zone"),
        ),
        sa.CheckConstraint("apart_in >= 0", name=op.f("ck_reading_apart")),
        sa.CheckConstraint("inches > 0", name=op.f("ck_reading_inches_above_zero")),
        sa.CheckConstraint("span_in >= 0", name=op.f("ck_reading_span")),
        sa.ForeignKeyConstraint(["car_id"], ["car.id"], name=op.f("fk_reading_car_id_car")),
        sa.ForeignKeyConstraint(["event_id"], ["event.id"], name=op.f("fk_reading_event_id_event")),
        sa.PrimaryKeyConstraint("event_id", "place", name=op.f("pk_reading")),
    )
    op.create_index(op.f("ix_reading_car_id"), "reading", ["car_id"], unique=False)
    op.create_table(
        "removal",
        sa.Column(
            "installation_id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False
        ),
        sa.Column("removed_on", sa.Date(), nullable=False),
        sa.Column("id", sa.BigInteger().with_variant(sa.Integer(), "sqlite"), nullable=False),
        sa.Column("recorded_at", sa.DateTime(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.Column(
            "import_id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the file that brought it",
        ),
        sa.Column(
            "superseded_at",
            sa.DateTime(timezone=True),
            nullable=True,
            comment="corrected, or its import taken back, at this moment",
        ),
        sa.Column(
            "corrects",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            nullable=True,
            comment="the row of this table that this one replaces",
        ),
        sa.ForeignKeyConstraint(
            ["import_id"], ["import_run.id"], name=op.f("fk_removal_import_id_import_run")
        ),
        sa.ForeignKeyConstraint(
            ["installation_id"],
            ["installation.id"],
            name=op.f("fk_removal_installation_id_installation"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_removal")),
        sa.UniqueConstraint("corrects", name=op.f("uq_removal_corrects")),
    )
    op.create_index(op.f("ix_removal_import_id"), "removal", ["import_id"], unique=False)
    op.create_index(
        op.f("ix_removal_installation_id"), "removal", ["installation_id"], unique=False
    )
    op.create_index(
        "uq_removal_installation",
        "removal",
        ["installation_id"],
        unique=True,
        sqlite_where=sa.text("superseded_at IS NULL"),
        postgresql_where=sa.text("superseded_at IS NULL"),
    )
    for table in STAMPED:
        guard(table, columns_of(table))
    for table in FIXED:
        guard(table, columns_of(table), stamp=False)
    for table, column in NOT_IN_FUTURE:
        refuse_future(table, column)
    month_on_its_first("event", "month_only", "happened_on")
    month_on_its_first("installation", "installed_month_only", "installed_on")

"""Who may do what, and whose: roles and what they allow, a person's memberships, the reach of a request."""

from app.access.capability import CAPABILITIES, KINDS_OF, ROLES, Capability, Role, roles_that_may
from app.access.reach import EVERYTHING, NOTHING, Reach
from app.access.viewer import Member, Viewer

__all__ = [
    "CAPABILITIES",
    "EVERYTHING",
    "KINDS_OF",
    "NOTHING",
    "ROLES",
    "Capability",
    "Member",
    "Reach",
    "Role",
    "Viewer",
    "roles_that_may",
]

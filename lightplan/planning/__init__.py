"""Planning: where things go for a look, how exact that must be, and what to buy.

The planner itself is `lightplan.planning.planner.plan`.
"""

from lightplan.mirror.family import Coverage, Margins, card_side, family_on_plane, mirror_plane
from lightplan.mirror.self_view import SelfView, WaysOut, self_view, ways_out
from lightplan.planning.catalogue import catalogue
from lightplan.planning.cupboard import Item
from lightplan.planning.effort import Effort, SearchProgress
from lightplan.planning.frame_pair import PlannedFrame, TwoFrames, plan_two_frames
from lightplan.planning.kit_words import Offer
from lightplan.planning.offers import KitAdvice, advise_kit
from lightplan.planning.planner import quick_plan
from lightplan.planning.result import NoPlan, Plan, PlannedMove, Robustness, Tolerance
from lightplan.planning.several_products import Fit, Product, RangePlan, plan_range
from lightplan.scene.clearance import Limit, broken, limits
from lightplan.scene.setting_errors import SettingErrors

__all__ = [
    "Coverage",
    "Effort",
    "Fit",
    "Item",
    "KitAdvice",
    "Limit",
    "Margins",
    "NoPlan",
    "Offer",
    "Plan",
    "PlannedFrame",
    "PlannedMove",
    "Product",
    "RangePlan",
    "Robustness",
    "SearchProgress",
    "SelfView",
    "SettingErrors",
    "Tolerance",
    "TwoFrames",
    "WaysOut",
    "advise_kit",
    "broken",
    "card_side",
    "catalogue",
    "family_on_plane",
    "limits",
    "mirror_plane",
    "plan_range",
    "plan_two_frames",
    "quick_plan",
    "self_view",
    "ways_out",
]

"""What the independent fold knows of the words on the wire: which kinds make what, what a step or an end leaves."""

from __future__ import annotations

MADE = {"material-received": "material", "batch-mixed": "batch", "blocks-moulded": "block", "cores-poured": "core"}
MADE["shells-poured"] = "shell"
SPOILT = {
    "resurface": "hardness roughness mass circumference diameter out_of_round friction oil_absorption",
    "polish": "hardness roughness friction oil_absorption",
    "re-turn": "mass circumference diameter out_of_round hardness roughness top_weight rg_low rg_mid rg_high "
    "differential mid_differential static_imbalance pin_to_cg pin_to_low_axis friction oil_absorption",
    "plug": "mass circumference diameter out_of_round hardness roughness top_weight rg_low rg_mid rg_high "
    "differential mid_differential static_imbalance pin_to_cg pin_to_low_axis friction oil_absorption",
    "re-pour": "mass circumference diameter out_of_round hardness roughness rg_low rg_mid rg_high differential "
    "mid_differential top_weight pin_to_cg pin_to_low_axis mark_to_high_axis static_imbalance friction oil_absorption",
}
WORK = {"turned": "re-turn", "sanded": "resurface", "polished": "polish"}
LEFT = {"polish": "polished", "resurface": "unstated", "re-turn": "unstated", "re-pour": "unstated"}
ENDS = {"scrap": "scrapped", "destructive-test": "destroyed", "retained": "retained"}
UNIT_MADE = {"unit-started", "ball-engraved", "ball-imported"}

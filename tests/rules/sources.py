"""What the published rules state in numbers, days or yes-or-no conditions, and the test that holds each of it.

Two tables: HELD, where something is calculated from it, and NOT_CALCULATED, where it is work for a shop, an offeror or
a file of papers and no date or verdict here hangs on it. 49 CFR parts 179 and 180 in the annual edition of October 1,
2019, part 173 in that of October 1, 2015, others as their test says.
"""

from typing import NamedTuple


class Held(NamedTuple):
    """`shows` are texts of the test itself, so that the number stated is the number tested."""

    citation: str
    states: str
    test: str
    shows: tuple[str, ...] = ()


_RULES = "tests/rules/test_"
_CALENDAR = f"{_RULES}calendar_items.py::test_an_item_falls_due_ten_years_after_it_last_passed"
_OPENS = f"{_RULES}owed.py::test_a_change_opens_the_items_of_its_row"
_THIN = f"{_RULES}thickness_interval.py::test_five_years_need_a_corrosive_lading_and_a_zone_at_or_below_c"
_LINES = f"{_RULES}required_thickness.py::test_lines_follow_from_the_required_thickness"
_GENERAL = f"{_RULES}readings.py::test_a_general_reading_is_judged_by_c_and_d"
_LOCAL = f"{_RULES}readings.py::test_a_local_reading_is_judged_by_c_and_e"
_LINING = f"{_RULES}lining.py::test_a_lining_lasts_eight_years_unless_more_is_documented"
_TON = (
    f"{_RULES}ton_tanks.py::test_the_tank_is_due_in_five_years_and_its_relief_device_in_two_or_five"
)
_TON_PSIG = f"{_RULES}relief_settings.py::test_a_ton_tank_has_the_figures_of_its_retest_table"
_CRYOGENIC = f"{_RULES}cryogenic.py::test_the_disc_is_due_in_a_year_and_the_valves_in_five"
_BUILD = (
    f"{_RULES}relief_settings.py::"
    "test_a_valve_that_passes_its_retest_is_warned_of_outside_the_figures_for_the_build"
)
_COLD_VALVE = f"{_RULES}relief_settings.py::test_a_cryogenic_car_has_one_setting_with_its_tolerance"
_NEEDED = f"{_RULES}pressure_for_lading.py::test_the_greatest_term_is_needed"
_PHASE_OUT = f"{_RULES}service_end.py::test_a_class_111_car_has_a_last_day_for_a_flammable_liquid"
_POISON = (
    f"{_RULES}service_end.py::"
    "test_a_car_for_what_is_poisonous_by_inhalation_has_a_last_day_by_its_steel_and_standard"
)
_FORMULA = f"{_RULES}required_thickness.py::test_the_required_thickness_is_the_larger_of_table_and_plate_formula"
_NOTES = f"{_RULES}required_thickness.py::test_the_notes_of_the_table_lower_it_for_strong_steel_or_a_small_tank"
_STRENGTH = f"{_RULES}rulebook.py::test_a_material_has_its_tensile_strength"
_SET = f"{_RULES}relief_settings.py::test_a_valve_is_set_within_the_shares_of_burst"
_STENCIL = f"{_RULES}contradictions.py::test_a_fact_that_does_not_fit_the_stencil_is_told_with_its_citation"
_DECODE = "tests/answers/test_decode.py::test_"
_TABLE = f"{_DECODE}the_class_table_gives_pressures_and_plate"
_OUTLET = f"{_DECODE}the_class_table_gives_bottom_outlet_and_insulation"
_MEANING = f"{_DECODE}letters_and_digits_are_explained"
_GRAMMAR = f"{_DECODE}every_mark_of_the_grammar_is_read"

HELD = (
    # --- the periodic table, 180.509(c)(3) ---
    Held("49 CFR 180.509(d)", "visual inspection at least every 10 years", _CALENDAR, ('"visual", 120',)),
    Held("49 CFR 180.509(e)", "structural integrity at least every 10 years", _CALENDAR,
         ('"structural_integrity", 120',)),
    Held("49 CFR 180.509(h)", "safety systems at least every 10 years", _CALENDAR, ('"safety_systems", 120',)),
    Held("49 CFR 180.509(k)(1)", "service equipment at least every 10 years", _CALENDAR, ('"service_equipment", 120',)),
    Held("49 CFR 180.509(k)(2)", "reclosing relief devices with the service equipment", _CALENDAR,
         ('"relief_device", 120',)),
    Held("49 CFR 180.509(k)(1)", "the owner may make it shorter, never longer",
         f"{_RULES}calendar_items.py::test_the_owner_may_only_shorten_the_service_equipment_interval", ("180, 120",)),
    Held("49 CFR 180.509(c)(3)", "no rounding of these dates is given",
         f"{_RULES}calendar_items.py::test_day_precision_is_the_default"),
    Held("49 CFR 180.509(c)", "items need not be done together",
         f"{_RULES}calendar_items.py::test_the_latest_passing_event_on_or_before_the_day_is_the_basis", ("own",)),
    Held("49 CFR 180.509(i)", "linings only where the lading is corrosive or reactive to the tank",
         f"{_RULES}lining.py::test_a_lining_is_not_required_for_a_lading_that_does_not_attack_the_tank"),
    Held("49 CFR 180.509(j)", "a leak test after reassembly, by event",
         f"{_RULES}leakage.py::test_the_leak_test_follows_what_was_done_to_the_equipment",
         ("by_event", "unknown", "due_now")),
    # --- corrosive, 180.503 and Appendix D ---
    Held("49 CFR 180.503", "corrosive above 2.5 mil a year, strictly",
         f"{_RULES}corrosive.py::test_corrosive_is_stated_or_shown_by_the_rate_and_no_only_when_stated",
         ("2.5,", "2.5001")),
    Held("49 CFR part 180, Appendix D", "the ladings deemed corrosive",
         f"{_RULES}corrosive.py::test_a_lading_on_the_list_is_corrosive_though_stated_otherwise",
         ("Acetic acid", "White liquor")),
    # --- what an event asks for, 180.509(b) to (j) ---
    Held("49 CFR 180.509(b)(1), (b)(2)", "defects and accident damage", _OPENS, ('"damage"',)),
    Held("49 CFR 180.509(b)(3)", "evidence of fire damage", _OPENS, ('"fire_damage"',)),
    Held("49 CFR 180.509(b)(4)", "as the agency orders", _OPENS, ('"ordered_inspection"',)),
    Held("49 CFR 180.509(b)", "the inspection fits the damage",
         f"{_RULES}owed.py::test_damage_opens_what_it_names_instead"),
    Held("49 CFR 180.509(d)(2)", "a visual inspection of what was laid bare", _OPENS,
         ("insulation_removed", "thermal_protection_removed", "head_protection_removed")),
    Held("49 CFR 180.509(f)(6)", "a measurement after thinning work or any lining removal", _OPENS,
         ("repair_reducing_thickness", '"lining_removed", {"visual", "thickness"}')),
    Held("49 CFR 180.509(f)(3)", "a local lining repair is no qualification", _OPENS,
         ('"lining_repaired_locally", set()',)),
    Held("49 CFR 180.509(f)(3)", "its spot is measured where the lading touched the steel",
         f"{_RULES}owed.py::test_a_local_lining_repair_warns_that_the_spot_is_to_be_measured"),
    Held("49 CFR 180.509(f)(2)(i)", "a lined tank is measured at application or replacement",
         f"{_RULES}lining.py::test_a_lined_tank_is_measured_about_when_its_lining_is_applied"),
    Held("49 CFR 180.509(j), 180.513(d)", "a leak test after equipment was put on, replaced or qualified", _OPENS,
         ("service_equipment_changed", "relief_device_changed")),
    Held("49 CFR 180.511", "what failed is owed until it passes",
         f"{_RULES}owed.py::test_only_a_later_pass_closes_what_is_owed"),
    # --- thickness, 180.509(f) ---
    Held("49 CFR 180.509(f)(2)", "not lined, lading not corrosive: 10 years", _THIN, ("0.406, False, 120",)),
    Held("49 CFR 180.509(f)(2)", "not lined, corrosive, above line C: 10 years", _THIN, ("0.407, True, 120",)),
    Held("49 CFR 180.509(f)(2)", "not lined, corrosive, at or below line C: 5 years", _THIN, ("0.40625, True, 60",)),
    Held("49 CFR 180.509(f)(2)", "any zone of shell and heads is enough",
         f"{_RULES}thickness_interval.py::test_any_zone_of_shell_and_heads_is_enough"),
    Held("49 CFR 180.509(f)(4)", "below line D no operation; at D is allowed", _GENERAL, ("0.37499", "0.375,")),
    Held("49 CFR 180.509(f)(4)", "below line E no operation where it is local; at E is allowed", _LOCAL,
         ("0.31249", "0.3125,")),
    Held("49 CFR 180.509(f)(4)", "a condemned tank is loaded with nothing",
         f"{_RULES}loading.py::test_the_loading_verdict"),
    Held("49 CFR 180.509(f)(5)", "the owner judges sumps, housings and nozzles",
         f"{_RULES}readings.py::test_sump_nozzles_and_housings_are_judged_by_the_owner"),
    Held("49 CFR 180.509(f)", "the owner's design minimum may ask for more",
         f"{_RULES}required_thickness.py::test_the_owner_may_only_ask_for_more"),
    # --- allowance, 180.509(g) ---
    Held("49 CFR 180.509(g)", "60 up to 200 psig: 1/8 in top and heads, 1/16 in bottom", _LINES,
         ('"0.4375", "0.375", "0.3125", "0.25"', '"0.4375", "0.40625", "0.375", "0.3125"')),
    Held("49 CFR 180.509(g)", "200 psig and over: 1/32 in", _LINES, ('"0.625", "0.60938", "0.59375", "0.53125"',)),
    Held("49 CFR 180.509(g)", "local: at most 8 in across, at least 16 in from the next",
         f"{_RULES}readings.py::test_local_means_at_most_8_in_across_and_at_least_16_in_from_the_next",
         ("8, 16", "8.01", "15.99")),
    Held("49 CFR 180.509(g)", "local areas may wear 1/16 in further", _LINES, ('"0.375", "0.3125"',)),
    Held("49 CFR 180.509(g), note 3", "class 115: the outer shell only, so the inner tank's table does not serve",
         f"{_RULES}required_thickness.py::test_without_a_row_only_the_minimum_of_the_owner_serves", ("115",)),
    # --- linings, 180.509(i) ---
    Held("49 CFR 180.509(i)", "at most 8 years without documented support", _LINING,
         ("None, None, 96", "97, False, 96")),
    Held("49 CFR 180.509(i)", "longer with service history or analysis", _LINING, ("120, True, 120",)),
    Held("49 CFR 180.509(i)", "the owner's own interval", _LINING, ("60, False, 60",)),
    Held("49 CFR 179.201-1, 179.201-3", "suffix 5 is a lined tank",
         f"{_RULES}lining.py::test_the_latest_of_application_and_removal_decides", ("W5",)),
    # --- approved intervals, 180.509(l) ---
    Held("49 CFR 180.509(l)", "an approved interval replaces the rule's",
         f"{_RULES}approvals.py::test_a_stenciled_approval_replaces_the_interval"),
    Held("49 CFR 180.509(c)(1)", "class 107: the rules in force before July 1, 1996",
         f"{_RULES}seamless.py::test_it_is_always_unknown_with_a_warning", ("1996",)),
    # --- ton tanks, 180.519 ---
    Held("49 CFR 180.519(a)", "at any time during the calendar year the retest falls due",
         f"{_RULES}ton_tanks.py::test_a_retest_may_be_made_at_any_time_during_the_year_it_falls_due",
         ("2025-12-31", "1995-12-31")),
    Held("49 CFR 180.519(a), (b)", "the tank every 5 years", _TON,
         ('"interval_months"]) == ("2020-03-01", 60)', "2025-12-31")),
    Held("49 CFR 180.519(b)", "the relief device every 2 years", _TON, ('None, 24, "2022-12-31"',)),
    Held("49 CFR 180.519(b), note d", "5 years for valves on tanks for fluorinated hydrocarbons only", _TON,
         ('FLUORINATED, VALVE, 60, "2025-12-31"',)),
    *(
        Held("49 CFR 180.519(b)", f"{name}: 5 and 2 years", _TON, (f'"{name}"',))
        for name in ("DOT 27", "BE 27", "DOT 106A500", "DOT 106A500X", "DOT 106A800", "DOT 106A800X", "DOT 106A800NCI",
                     "DOT 110A500-W", "DOT 110A600-W", "DOT 110A800-W", "DOT 110A1000-W")
    ),
    *(
        Held("49 CFR 180.519(b)(3)", f"{name}: discharge at or below {most}, tight at or above {tight} psig", _TON_PSIG,
             (f'"{name}", {most}, {tight}',))
        for name, most, tight in (("DOT 27", 375, 300), ("DOT 106A500X", 375, 300), ("DOT 106A800X", 600, 480),
                                  ("DOT 110A500W", 375, 300), ("DOT 110A600W", 500, 360),
                                  ("DOT 110A800W", 600, 480), ("DOT 110A1000W", 750, 600))
    ),
    Held("49 CFR 179.301", "110A600-W 450 and 360, 110A1000-W 700 and 650 psig for the build",
         _BUILD, ("450", "360", "700", "650")),
    # --- cryogenic cars, 173.319(e) and 179.401-1 ---
    Held("49 CFR 173.319(e)", "no periodic pressure test of the tank",
         f"{_RULES}cryogenic.py::test_there_is_no_periodic_test_of_the_tank"),
    Held("49 CFR 173.319(e)", "the rupture disc is replaced every 12 months", _CRYOGENIC, ('"rupture_disc", 12',)),
    Held("49 CFR 173.319(e)", "relief valves are tested every 5 years", _CRYOGENIC, ('"relief_device", 60',)),
    Held("49 CFR 179.401-1", "113A60W: valve 30 psig within 3, tight 24", _COLD_VALVE, ('"DOT 113A60W", 27, 33, 24',)),
    Held("49 CFR 179.401-1", "113C120W: valve 75 psig within 3, tight 60", _COLD_VALVE,
         ('"DOT 113C120W", 72, 78, 60',)),
    Held("49 CFR 179.401-1", "test, burst and plate of both", f"{_DECODE}a_cryogenic_car_has_its_own_table",
         ('60, 240, "0.1875"', '120, 300, "0.1875"')),
    # --- marking, reports, offering ---
    Held("49 CFR 180.515", "stenciled dates take precedence over dates changed but not stenciled",
         f"{_RULES}stencil_dates.py::test_a_painted_date_controls_but_never_past_the_maximum"),
    Held("49 CFR 180.515", "an approval counts when it is stenciled",
         f"{_RULES}approvals.py::test_an_approval_that_is_not_stenciled_changes_nothing_and_is_told"),
    Held("49 CFR 180.515(c)", "qualified within six months before installation, protected: counted from installation",
         f"{_RULES}relief_device.py::test_a_device_installed_within_six_months_of_its_test_counts_from_then",
         ("2024-07-15", "2024-07-16", "2034-07-10", "2024-09-01")),
    Held("49 CFR 180.515", "the last numeral may be left out on a converted car",
         f"{_DECODE}a_last_numeral_left_out_is_warned_of_and_leaves_what_all_have_in_common"),
    Held("49 CFR 180.517(b)", "a report states month and year",
         "tests/answers/test_dates_given.py::test_a_month_counts_as_its_first_day"),
    Held("49 CFR 173.31(a)(3)", "an overdue car is not filled with a hazardous material and offered",
         f"{_RULES}loading.py::test_the_loading_verdict", ("may_not_load",)),
    Held("49 CFR 173.31(d)(1)", "before offering, its dates are seen to be within their intervals",
         f"{_RULES}stencil_dates.py::test_a_car_that_does_not_show_its_new_date_is_to_be_checked", ("check",)),
    Held("49 CFR 174.50", "a car that does not conform moves under an approval for one movement",
         "tests/core/test_moving.py::test_moving_an_overdue_car_is_told_with_its_citations_and_never_as_a_yes",
         ("49 CFR 174.50",)),
    Held("49 CFR 173.31(c)", "133 percent of vapor pressure, head and pad; 115 F or 105 F insulated", _NEEDED,
         ("110.39", "77.14", "115 F", "105 F")),
    Held("49 CFR 173.31(c)", "133 percent of the greatest loading or unloading pressure", _NEEDED, ("106.4",)),
    Held("49 CFR 173.31(c)", "300 psig for poison by inhalation", _NEEDED, ('"300", "short"',)),
    Held("49 CFR 173.31(c)", "the part 179 minimum", _NEEDED, ('"100", "enough", "part 179"',)),
    Held("85 FR 75680", "non-normalized steel is barred after December 31, 2020", _POISON, ("OLD",)),
    Held("85 FR 75680", "cars not to the 2009 standards are barred after December 31, 2027", _POISON, ("NEWER",)),
    Held("85 FR 75680", "both days themselves are allowed",
         f"{_RULES}service_end.py::test_after_the_last_day_means_from_the_day_after_it", ("2027-12-31", "2028-01-01")),
    Held("85 FR 75680", "the interim mark was dropped", _STENCIL, ("dropped",)),
    # --- class 3 in class 111 cars ---
    *(
        Held("FAST Act section 7304", f"{what}: last day {last}", _PHASE_OUT, (f'{row}, "{last}"',))
        for what, row, last in (
            ("crude oil, no jacket", '"UN1267", "I", None, False', "2017-12-31"),
            ("crude oil, jacket", '"UN1267", "I", None, True', "2018-02-28"),
            ("crude oil, CPC-1232", '"UN1267", "I", CPC, False', "2020-03-31"),
            ("crude oil, CPC-1232, jacket", '"UN1267", "I", CPC, True', "2025-04-30"),
            ("ethanol, no jacket", '"UN1170", "II", None, False', "2023-04-30"),
            ("ethanol, jacket", '"UN1170", "II", None, True', "2023-04-30"),
            ("ethanol, CPC-1232", '"UN1170", "II", CPC, False', "2023-06-30"),
            ("ethanol, CPC-1232, jacket", '"UN1170", "II", CPC, True', "2025-04-30"),
            ("packing group I", '"UN1993", "I", None, False', "2025-04-30"),
            ("packing group II", '"UN1993", "II", None, False', "2029-04-30"),
            ("packing group III", '"UN1993", "III", None, False', "2029-04-30"),
        )
    ),
    Held("49 CFR 173.242; FAST Act section 7304", "on or after its day, so the day before is the last",
         f"{_RULES}service_end.py::test_the_last_day_is_still_allowed_and_the_ban_s_day_is_not",
         ("2023-04-30", "2023-05-01")),
    Held("49 CFR 173.241 to 173.243", "retrofitted 117R and performance 117P cars are not barred",
         f"{_RULES}service_end.py::test_only_class_111_is_phased_out", ("117R", "117P")),
    # --- mechanical dates ---
    Held("49 CFR 232.305(c)", "single car air brake test every 5 years",
         f"{_RULES}air_brake.py::test_it_is_due_five_years_after_the_last_test_or_eight_after_the_car_was_made",
         (", 60,",)),
    Held("49 CFR 232.305(d)", "the first within 8 years of built or rebuilt",
         f"{_RULES}air_brake.py::test_it_is_due_five_years_after_the_last_test_or_eight_after_the_car_was_made",
         (", 96,",)),
    Held("49 CFR 224.111(b)", "sheeting replaced within 10 years of installation",
         f"{_RULES}reflective_sheeting.py::test_it_is_replaced_within_ten_years_of_its_installation", ("120",)),
    Held("49 CFR 224.111(c)", "or compared with a panel at every single car test",
         f"{_RULES}reflective_sheeting.py::test_against_a_panel_it_is_due_from_each_air_brake_test"),
    Held("49 CFR 224.107", "cars built after January 26, 2006 had sheeting before service",
         f"{_RULES}reflective_sheeting.py::test_it_is_replaced_within_ten_years_of_its_installation",
         ("2006-01-27", "2006-01-26")),
    Held("49 CFR 215.203(a)(1)", "restricted when more than 50 years from original construction",
         f"{_RULES}age_limit.py::test_a_car_may_run_to_the_fiftieth_anniversary_of_its_construction", ("600",)),
    # --- part 179 tables ---
    *(
        Held(citation, f"{name}: test, burst, plate, relief", _TABLE, (f'"DOT {name}", {figures}',))
        for citation, name, figures in (
            ("49 CFR 179.101-1", "105A100ALW", '100, 500, "0.625", "165"'),
            ("49 CFR 179.101-1", "105A200ALW", '200, 500, "0.625", "165"'),
            ("49 CFR 179.101-1", "105A300ALW", '300, 750, "0.625", "247.5"'),
            ("49 CFR 179.101-1", "105A100W", '100, 500, "0.5625", "165"'),
            ("49 CFR 179.101-1", "105A200W", '200, 500, "0.5625", "165"'),
            ("49 CFR 179.101-1", "105A300W", '300, 750, "0.6875", "247.5"'),
            ("49 CFR 179.101-1", "105A400W", '400, 1000, "0.6875", "330"'),
            ("49 CFR 179.101-1", "105A500W", '500, 1250, "0.6875", "412.5"'),
            ("49 CFR 179.101-1", "105A600W", '600, 1500, "0.6875", "495"'),
            ("49 CFR 179.101-1", "109A100ALW", '100, 500, "0.625", "165"'),
            ("49 CFR 179.101-1", "109A200ALW", '200, 500, "0.625", "165"'),
            ("49 CFR 179.101-1", "109A300ALW", '300, 750, "0.625", "247.5"'),
            ("49 CFR 179.101-1", "109A300W", '300, 500, "0.6875", "165"'),
            ("49 CFR 179.101-1", "112A200W", '200, 500, "0.5625", "165"'),
            ("49 CFR 179.101-1", "112A340W", '340, 850, "0.6875", "280.5"'),
            ("49 CFR 179.101-1", "112A400W", '400, 1000, "0.6875", "330"'),
            ("49 CFR 179.101-1", "112A500W", '500, 1250, "0.6875", "412.5"'),
            ("49 CFR 179.101-1", "114A340W", '340, 850, "0.6875", "280.5"'),
            ("49 CFR 179.101-1", "114A400W", '400, 1000, "0.6875", "330"'),
            ("49 CFR 179.101-1", "120A200ALW", '200, 500, "0.625", "165"'),
            ("49 CFR 179.101-1", "120A100W", '100, 500, "0.5625", "165"'),
            ("49 CFR 179.101-1", "120A200W", '200, 500, "0.5625", "165"'),
            ("49 CFR 179.101-1", "120A300W", '300, 750, "0.6875", "247.5"'),
            ("49 CFR 179.101-1", "120A400W", '400, 1000, "0.6875", "330"'),
            ("49 CFR 179.101-1", "120A500W", '500, 1250, "0.6875", "412.5"'),
            ("49 CFR 179.201-1", "111A60ALW1", '60, 240, "0.5", "79.2"'),
            ("49 CFR 179.201-1", "111A60ALW2", '60, 240, "0.5", "79.2"'),
            ("49 CFR 179.201-1", "111A60W1", '60, 240, "0.4375", "79.2"'),
            ("49 CFR 179.201-1", "111A60W2", '60, 240, "0.4375", "79.2"'),
            ("49 CFR 179.201-1", "111A60W5", '60, 240, "0.4375", "79.2"'),
            ("49 CFR 179.201-1", "111A60W6", '60, 240, "0.4375", "79.2"'),
            ("49 CFR 179.201-1", "111A60W7", '60, 240, "0.4375", "79.2"'),
            ("49 CFR 179.201-1", "111A100ALW1", '100, 500, "0.625", "165"'),
            ("49 CFR 179.201-1", "111A100ALW2", '100, 500, "0.625", "165"'),
            ("49 CFR 179.201-1", "111A100W1", '100, 500, "0.4375", "165"'),
            ("49 CFR 179.201-1", "111A100W2", '100, 500, "0.4375", "165"'),
            ("49 CFR 179.201-1", "111A100W3", '100, 500, "0.4375", "165"'),
            ("49 CFR 179.201-1", "111A100W4", '100, 500, "0.4375", "165"'),
            ("49 CFR 179.201-1", "111A100W5", '100, 500, "0.4375", "165"'),
            ("49 CFR 179.201-1", "111A100W6", '100, 500, "0.4375", "165"'),
            ("49 CFR 179.201-1", "111A100W7", '100, 500, "0.4375", "165"'),
            ("49 CFR 179.202", "117A100W", '100, 500, "0.5625", "165"'),
            ("49 CFR 179.221-1", "115A60ALW", '60, 240, "0.1875", "79.2"'),
            ("49 CFR 179.221-1", "115A60W1", '60, 240, "0.125", "79.2"'),
            ("49 CFR 179.221-1", "115A60W6", '60, 240, "0.125", "79.2"'),
        )
    ),
    Held("49 CFR 179.202-13, -12", "117R: 7/16 in at least, pressures as built; 117P: none given",
         f"{_DECODE}a_retrofitted_or_performance_car_has_no_burst_of_its_own", ("0.4375",)),
    Held("49 CFR 179.101-1, note 1", "81,000 psi 9/16 in, 65,000 psi 5/8 in", _NOTES,
         ('81000}, "0.5625"', '65000}, "0.625"')),
    Held("49 CFR 179.101-1, note 3", "65,000 psi 1/2 in", _NOTES, ('65000}, "0.5"',)),
    Held("49 CFR 179.101-1, note 5", "inside diameter of at most 87 in: 1/2 in", _NOTES,
         ('"inside_diameter_in": 87,', "87.01")),
    Held("49 CFR 179.101-1", "bottom outlet and insulation of the pressure classes", _OUTLET,
         ('105A300W", "none", "required"', '109A300W", "none", "optional"', '112A340W", "none", "optional"',
          '114A340W", "optional", "optional"', '120A300W", "optional", "required"')),
    Held("49 CFR 179.201-1", "bottom outlet and insulation of the non-pressure classes", _OUTLET,
         ('111A100W3", "optional", "required"', '111A100W4", "none", "required"', '111A60W7", "none", "optional"')),
    Held("49 CFR 179.101-1, 179.201-1", "bottom outlet, insulation: facts that do not fit the table are told",
         _STENCIL),
    # --- plate formula ---
    Held("49 CFR 179.200-6(a)", "t = P d / (2 S E), E = 0.9", _FORMULA, ("0.47222",)),
    Held("49 CFR 179.100-6", "t = P d / (2 S E), E = 1.0", _FORMULA, ("0.61914", "0.78704")),
    Held("49 CFR 179.200-6(b)", "3:1 heads take 1.83 times as much",
         f"{_RULES}required_thickness.py::test_head_shape_and_joint_efficiency_enter_the_plate_formula"),
    Held("49 CFR 179.100-7, 179.200-7", "tensile strengths", _STRENGTH, ("81000", "25000", "38000")),
    # --- relief devices, 179.15 ---
    Held("49 CFR 179.15(b)", "75 psig at least, 33 percent of burst at most", _SET, ('"75", "165"', '"75", "280.5"')),
    Held("49 CFR 179.15(b)", "built before October 1, 1997, burst of at most 500: from 14.5 percent", _SET,
         ('"34.8"', '"72.5"')),
    Held("49 CFR 179.15(b)", "at least what the lading asks for",
         f"{_RULES}relief_settings.py::test_a_device_opens_no_lower_than_what_its_car_carries"),
    Held("49 CFR 179.15(b)", "within 3 psi up to 100 psig, within 3 percent above",
         f"{_RULES}relief_settings.py::test_the_tolerance_is_three_psi_or_three_percent", ("160.05", "272.085")),
    Held("49 CFR 179.15", "vapor tight at 80 percent of its setting",
         f"{_RULES}relief_settings.py::test_a_valve_is_vapor_tight_at_four_fifths_of_its_setting", ("60",)),
    Held("49 CFR 179.15(e)", "a disc bursts at the greater of test pressure and 33 percent of burst, 15 percent less",
         f"{_RULES}relief_settings.py::test_a_disc_bursts_at_the_greater_of_test_pressure_and_share_of_burst",
         ("79.2", "0.85")),
    # --- the letters of a stencil ---
    Held("49 CFR 179.22(b)", "S: head puncture resistance", _MEANING, ("105S300W",)),
    Held("49 CFR 179.22(c)", "J: thermal protection and a jacket besides", _STENCIL, ("112J340W",)),
    Held("49 CFR 179.22(d)", "T: thermal protection, no jacket", _STENCIL, ("112T340W",)),
    Held("49 CFR 179.22(e)", "I in place of W: built after March 16, 2009", _STENCIL, ("2009, 3, 16",)),
    Held("85 FR 75680", "H in place of J", _STENCIL, ("105H600W",)),
    Held("49 CFR 179.22", "material letters AL mean aluminum, and they alone", _STENCIL, ("111A100ALW1", "AL5083")),
    Held("49 CFR 179.201-1", "suffix digits", _MEANING, ("W5", "W3", "W2")),
    Held("49 CFR 179.22, 179.201-1", "agencies, classes, welds and materials that are read", _GRAMMAR),
    Held("49 CFR 179.202-6, -12, -13", "a class 117 car has thermal protection", _STENCIL, ("117A100W",)),
    Held("49 CFR 180.507", "classes no longer built stay in service", _GRAMMAR, ("103AW", "113D120W")),
    Held("49 CFR 180.519(b)", "the retest table knows no lining",
         f"{_RULES}contradictions.py::test_a_lined_specification_wants_a_lining_on_record"),
)  # fmt: skip

NOT_CALCULATED = (
    (
        "49 CFR 180.509(e)",
        "which fillet and butt welds (0.25 in, 4 ft, 2 ft) are looked at, and by which method",
    ),
    ("49 CFR 180.509(f)(1)", "the gauge is accurate within 0.002 in"),
    (
        "49 CFR 180.509(g), note 2",
        "the structure still meets section 6.2 of the AAR specifications",
    ),
    (
        "49 CFR 180.509(i)",
        "the lining owner keeps a procedure and performance data, and gives them on request",
    ),
    ("49 CFR 180.509(m)", "the first inspections from July 1, 1998 and July 1, 2000: long past"),
    ("49 CFR 179.201-3", "rubber lining at least 5/32 in, PVC 3/32 in, polyurethane 1/16 in"),
    (
        "49 CFR 180.519(b)",
        "30 seconds held, expansion of at most 10 percent, gauges within 1 percent, air at 100 psig",
    ),
    (
        "49 CFR 180.519(b), note a",
        "one disc per class 107 car is burst, between 70 and 100 percent of test pressure",
    ),
    (
        "49 CFR 180.519(c)",
        "a visual inspection may stand in for the hydrostatic test of some tanks: a pass is a pass",
    ),
    ("49 CFR 180.519(d)", "records are kept as long as the tank is in service"),
    ("49 CFR 173.319(a)(3)", "a flammable cryogenic lading not received in 20 days is told of"),
    (
        "49 CFR 173.319(e)",
        "more than 3 psig a day on a trip asks for a thermal integrity test before the next shipment",
    ),
    ("49 CFR 180.515", "characters of at least 3/8 in for a new specification"),
    (
        "49 CFR 180.517",
        "eight fields of a report, kept until the next of its kind; the certificate one year past ownership",
    ),
    (
        "49 CFR 173.31(a)(6)",
        "which delimiters may stand in for one another when a car is chosen for a lading",
    ),
    ("49 CFR 173.31(b)(2)(ii)", "which ladings ask for a reclosing relief device"),
    ("49 CFR 173.31(b), (e)", "retrofits by July 1, 2001 and July 1, 2006: long past"),
    ("85 FR 75680", "which specification is named for which lading in a new car"),
    ("49 CFR 179.7", "twelve elements of a quality assurance program"),
    (
        "49 CFR 179.15",
        "flow rating of 110 to 130 percent; a valve in series with a disc set at 95 percent of it",
    ),
    ("49 CFR 179.202-12", "side and head impacts that a 117P design withstands"),
    ("49 CFR 179.202-13", "117R: head shield at least 1/2 in, jacket at least 11 gauge"),
    ("49 CFR 224.109", "sheeting found short is mended within 270 days of its notice"),
    ("49 CFR 232.305(b)", "a car on the repair track without a test in 12 months is tested there"),
)

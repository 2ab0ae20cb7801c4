"""Names, lists and counts as the survey field dictionary prints them, sections 3.4 to 3.6.

Taken from the printed tables, not from the files under schemas/.
"""

_NAMES = """
property_id building_part national_ref building_id programme_id postal_code admin_area_code
country_code latitude longitude location_precision property_type built_form year_built age_band
storeys floor_area_m2 construction_system heritage_status archetype_code roof_form
roof_pitch_deg roof_covering roof_covering_condition roof_underlay roof_deck roof_outer_class
insulation_plane eaves_vent_state vent_free_area_ratio vapour_diffusion_port void_conditioning
ceiling_air_seal exhaust_into_void roof_leak_evidence roof_drainage roof_structure_concern
flashing_condition valley_condition gutter_condition downpipe_condition chimney_condition
parapet_condition penetration_condition opening_perimeter_condition plumbing_leak
wall_construction wall_thickness_mm wall_finish_external pointing_condition render_condition
frost_damage dpc_presence ground_to_dpc_mm cavity_width_mm cavity_state cavity_bridging
exposure_class salt_evidence wall_damp_evidence embedded_timber capillary_break
embedded_timber_aspect timber_decay_grade floor_construction subfloor_vent_state
subfloor_moisture ceiling_insulation_mm wall_insulation_existing foam_present foam_type
foam_density_kg_m3 foam_location foam_thickness_mm foam_coverage_pct foam_install_date
foam_substrate foam_air_gap_mm foam_evidence foam_defects foam_fire_cover
interior_vapour_control occupants high_moisture_use extract_kitchen extract_bathroom
background_ventilation visible_mould combustion_appliance timber_mc_pct mc_location mc_date
rh_mean_pct temp_mean_c logger_days u_value_w_m2k asbestos_status wiring_hazard recessed_lights
flue_clearance protected_species photo_refs document_refs survey_id survey_date surveyor_id
surveyor_competence survey_method access_limits survey_confidence measure_code measure_material
measure_thickness_mm
"""
NAMES = _NAMES.split()

# field=list, as the column of allowed values names it
_LISTS = """
building_part=BP location_precision=LP property_type=PT built_form=BF age_band=AB
construction_system=CS heritage_status=HS roof_form=RF roof_covering=RC
roof_covering_condition=CN roof_underlay=UL roof_deck=RD roof_outer_class=PC insulation_plane=IP
eaves_vent_state=VS vapour_diffusion_port=YN void_conditioning=YN ceiling_air_seal=CS2
exhaust_into_void=YN roof_leak_evidence=LK roof_drainage=DR roof_structure_concern=SC
flashing_condition=CN valley_condition=CN gutter_condition=CN downpipe_condition=CN
chimney_condition=CN parapet_condition=CN penetration_condition=CN
opening_perimeter_condition=CN plumbing_leak=LK wall_construction=WC wall_finish_external=WF
pointing_condition=CN render_condition=CN frost_damage=EX dpc_presence=DP cavity_state=CV
cavity_bridging=BR exposure_class=XP salt_evidence=SA wall_damp_evidence=WD embedded_timber=ET
capillary_break=YN timber_decay_grade=DG floor_construction=FL subfloor_vent_state=VS
subfloor_moisture=SM wall_insulation_existing=WI foam_present=YN foam_type=FT foam_location=FO
foam_substrate=FS foam_evidence=FE foam_defects=FX foam_fire_cover=FC interior_vapour_control=IV
high_moisture_use=HM extract_kitchen=XF extract_bathroom=XF background_ventilation=BV
visible_mould=MO combustion_appliance=CA mc_location=ML asbestos_status=AS wiring_hazard=WH
recessed_lights=RL flue_clearance=FQ protected_species=PS surveyor_competence=CM
survey_method=SV access_limits=AL measure_material=MM
"""
LISTS = dict(pair.split("=") for pair in _LISTS.split())

# list=number of codes, without `unknown`, the four numbered extensions counted one by one
_COUNTS = """
YN=2 BP=8 LP=6 PT=8 BF=7 AB=12 CS=11 HS=4 RF=8 RC=16 CN=5 UL=9 RD=9 PC=4 IP=6 VS=5 CS2=3 LK=4
DR=4 SC=4 WC=12 WF=9 EX=4 DP=4 CV=7 BR=5 XP=4 SA=5 WD=6 ET=6 DG=6 FL=7 SM=4 WI=6 FT=7 FO=10 FS=8
FE=8 FX=11 FC=5 IV=5 HM=9 XF=6 BV=5 MO=5 CA=5 ML=12 AS=5 WH=5 RL=5 FQ=3 PS=4 CM=6 SV=7 AL=8
MM=13
"""
COUNTS = {name: int(count) for name, count in (pair.split("=") for pair in _COUNTS.split())}

# table: its columns, in order
_CHILD_TABLES = """
reading: reading_id survey_id location aspect value scale method depth_mm material
species_corrected temp_c treated_or_salty reading_date meter_check

inspection: inspection_id property_id building_part selection_stream stratum selection_weight
inspected_on inspector_id inspector_competence outcome_status openings_count foam_type_found
foam_density_found_kg_m3 foam_thickness_min_mm foam_thickness_typ_mm substrate_found
underlay_found air_gap_found_mm defects_found timber_mc_max_pct timber_mc_median_pct readings_n
readings_shaded_n decay_grade_max decay_extent_m leak_found verdict verdict_confidence
stop_work_flags reinstated photos samples next_due

opening: opening_id slope_aspect zone size_mm foam_type thickness_mm bonded timber_mc_pct
decay_grade free_water photo

repair: repair_id property_id building_part trigger_rule_ids defect_location repair_type
ordered_on started_on completed_on contractor_id cost_amount cost_currency evidence_before
evidence_after water_test rain_event_mm mc_before_pct mc_after_pct mc_after_date repair_verified
verified_by verified_on warranty_until reopened_count

programme: programme_id name owner country_code start_on end_on policy_pack policy_version
funder_codes target_homes delivered_homes suppression_min_count rounding_base min_denominator
override_roles survey_expiry_table stock_total

measure: measure_code name group element covers_timber closes_inward_drying
closes_outward_drying tightening default_material default_r_m2k_w default_sd_m required_fields
required_clearances hourly_model_required adopted_code_ref
"""
CHILD_TABLES = {
    name: columns.split()
    for name, columns in (part.strip().split(":") for part in _CHILD_TABLES.split("\n\n"))
}

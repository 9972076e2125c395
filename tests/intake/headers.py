"""Names of columns as clinics write them, with numbers below them, and what they are by hand.

All invented. `ASK` marks what nobody can tell from the name alone, or what the starter
catalogue does not have: there the only right thing is to ask.
"""

from __future__ import annotations

from dataclasses import dataclass

ASK = "ask"


@dataclass(frozen=True)
class Header:
    name: str
    texts: tuple[str, ...]
    holds: str  # a metric's key, a column of a visit, or ASK
    side: str = ""
    trial: int = 0


def h(name: str, texts: str, holds: str, side: str = "", trial: int = 0) -> Header:
    return Header(name, tuple(texts.split(";")), holds, side, trial)


DEG = "38.2;41;40.5;36;39.9"
SMALL = "4.1;5.2;3.8;6;4.4"
N = "210;245;198;260;231"
DAYS = "2026-01-12;2026-02-09;2026-03-09"

HEADERS: tuple[Header, ...] = (
    # who and when
    h("Runner", "R-1;R-2;R-3", "runner"),
    h("Athlete ID", "A12;A13;A14", "runner"),
    h("Subject", "S01;S02", "runner"),
    h("Participant", "P1;P2", "runner"),
    h("patient id", "1001;1002;1007", "runner"),
    h("Name", "Ann Smith;Bo Berg", ASK),
    h("Athlete", "Ann Smith;Bo Berg;Cy Oak", ASK),
    h("DOB", "1990-03-02;1988-01-01", ASK),
    h("E-mail", "a@b.c", ASK),
    h("ID", "1;2;3;4", ASK),
    h("Date", DAYS, "visit_date"),
    h("Date of visit", "12/01/2026;13/02/2026", "visit_date"),
    h("Test date", DAYS, "visit_date"),
    h("Date of injury", DAYS, ASK),
    h("Surgery date", DAYS, ASK),
    h("Next appointment", DAYS, "next_due"),
    h("Speed (km/h)", "10;11;12", "speed_km_h"),
    h("Speed", "10;11;12", ASK),
    h("Treadmill speed m/s", "3.0;3.3;3.5", "speed_km_h"),
    h("Treadmill incline %", "0;1", "incline_pct"),
    h("Gradient", "0;1", ASK),
    h("Max speed (km/h)", "18;19", ASK),
    h("Patient", "Ann;Bosse;Cy", ASK),
    h("Shoe size", "42;43", ASK),
    h("Shoes", "own;test shoe", "footwear"),
    h("FPS", "120;240", "frames_per_s"),
    h("Tested by", "AB;CD", "assessor"),
    h("Comments", "tired;ok", "note"),
    h("Pain today (0-10)", "0;2;3", "pain_today"),
    h("Pain today 0-10", "0;2;3", "pain_today"),
    h("Age", "31;45", ASK),
    h("Height (cm)", "170;181", ASK),
    h("Body mass (kg)", "61;72", ASK),
    # from behind
    h("Contralateral pelvic drop L (deg)", SMALL, "contralateral_pelvic_drop", "left"),
    h("CPD_R", SMALL, "contralateral_pelvic_drop", "right"),
    h("Pelvic drop L", SMALL, ASK),
    h("Lateral pelvic tilt L", SMALL, ASK),
    h("Anterior pelvic tilt (deg)", "9;11;10", ASK),
    h("Pelvic tilt R", SMALL, ASK),
    h("Hip adduction peak L", "12;14;11", ASK),
    h("Rearfoot eversion peak R (°)", "9;11;8", "rearfoot_eversion_peak", "right"),
    h("Peak rearfoot eversion - left", "9;11;8", "rearfoot_eversion_peak", "left"),
    h("Rearfoot inversion peak L", "9;11;8", ASK),
    h("Rearfoot inversion at contact L", "6;7;5", "foot_inversion_at_contact", "left"),
    h("Rearfoot eversion L", "9;11;8", ASK),
    h("Trunk lean L", SMALL, ASK),
    h("Ipsilateral trunk lean R (deg)", SMALL, "trunk_side_lean", "right"),
    h("Forward trunk lean", "8;9;7", ASK),
    h("Step width (cm)", "6;7;8", "step_width"),
    h("Step width", "6;7;8", ASK),
    h("Step width L (cm)", "6;7;8", ASK),
    # from the side
    h("Knee flexion (deg) L", DEG, ASK),
    h("Knee flexion mid-stance (deg) L", DEG, "knee_flexion_midstance", "left"),
    h("KneeFlexMidstanceR", DEG, "knee_flexion_midstance", "right"),
    h("L knee flexion at midstance trial 2", DEG, "knee_flexion_midstance", "left", 2),
    h("Knee flexion swing peak L", "101;99;104", ASK),
    h("Peak knee flexion swing R", "61;66;70", ASK),
    h("Peak knee flexion L", DEG, ASK),
    h("Knee flex at IC (R)", "12;14;13", "knee_flexion_at_contact", "right"),
    h("Knee flexion at initial contact left", "12;14;13", "knee_flexion_at_contact", "left"),
    h("Knee extension at contact L", "12;14;13", ASK),
    h("Knee flexion midstance L mean", DEG, ASK),
    h("Knee flexion midstance SD L", "1.1;0.9;2.0", ASK),
    h("Knee flexion midstance asymmetry", "1.1;-2;0.4", ASK),
    h("Knee flexion midstance L-R", "1.1;-2;0.4", ASK),
    h("Knee flexion midstance L pre", DEG, ASK),
    h("Knee flexion midstance L T1", DEG, ASK),
    h("Knee flexion midstance involved", DEG, ASK),
    h("Ankle dorsiflexion peak stance R", "22;24;21", "ankle_dorsiflexion_peak", "right"),
    h("Ankle DF ROM L (deg)", "22;24;21", ASK),
    h("Hip extension at toe-off L (deg)", "9;11;12", "hip_extension_toe_off", "left"),
    h("Hip flexion at toe off L", "9;11;12", ASK),
    h("Hip ext TO R", "9;11;12", ASK),
    h("Foot inclination angle L", "9;12;14", "foot_angle_at_contact", "left"),
    h("Foot strike", "RFS;MFS", ASK),
    h("Tibia angle at contact R", "6;7;9", "shank_angle_at_contact", "right"),
    h("Overstride (cm) L", "22;25;20", ASK),
    # timing
    h("Cadence (spm)", "168;172;176", "cadence"),
    h("Step rate", "168;172;176", "cadence"),
    h("Cadence", "84;86;88", ASK),
    h("Cadence (strides/min)", "84;86;88", ASK),
    h("Contact time L (ms)", "245;250;238", "contact_time", "left"),
    h("GCT R", "245;250;238", "contact_time", "right"),
    h("GCT left (s)", "0.245;0.250;0.238", "contact_time", "left"),
    h("Contact time L", "0.245;0.250;0.238", ASK),
    h("Flight time R (ms)", "95;102;88", "flight_time", "right"),
    h("Step length L (cm)", "104;110;99", "step_length", "left"),
    h("Stride length (m)", "2.1;2.2", ASK),
    h("Vertical oscillation (cm)", "8;9", ASK),
    h("Heart rate", "150;160", ASK),
    # on the table
    h("Hip abduction strength L (N)", N, "hip_abductor_strength", "left"),
    h("Hip abd strength R [N]", N, "hip_abductor_strength", "right"),
    h("Hip abductor strength L", N, ASK),
    h("HHD hip abd L (N)", N, ASK),
    h("Hip abd strength (kg) L", "21;24;20", ASK),
    h("Hip abd strength L (N/kg)", "3.1;3.4;2.9", "hip_abductor_strength_per_kg", "left"),
    h("Hip abduction torque L (Nm)", "81;92", ASK),
    h("Hip abduction ROM L", "38;41;44", ASK),
    h("Hip abduction L (deg)", "38;41;44", ASK),
    h("Hip ER ROM R", "38;41;44", ASK),
    h("Hip adductor strength L (N)", N, ASK),
    h("Hip extension strength R (N)", N, "hip_extensor_strength", "right"),
    h("Knee extension strength R (N)", N, ASK),
    h("Calf strength L (N)", "900;1100", "calf_strength", "left"),
    h("Knee to wall L (cm)", "9;11;10", "lunge_distance", "left"),
    h("KTW R cm", "9;11;10", "lunge_distance", "right"),
    h("WB lunge angle L", "38;41;40", "lunge_angle", "left"),
    h("Lunge L", "38;41;40", ASK),
    h("1st MTP extension L (deg)", "55;60;62", "big_toe_extension", "left"),
    h("Hallux ext passive R", "55;60;62", ASK),
    h("Navicular drop R (mm)", "6;7;5", "navicular_drop", "right"),
    h("Navicular drop L (cm)", "0.6;0.7;0.5", "navicular_drop", "left"),
    h("Single-leg heel raises R", "24;21;25", "heel_raise_count", "right"),
    h("Calf raise reps L", "24;21;25", "heel_raise_count", "left"),
    h("Heel raise height L (cm)", "9;10;8", ASK),
    h("Contact time L (%)", "31;33", ASK),
    h("Cadence target", "175;180", ASK),
    h("Bilateral calf raises", "30;32", ASK),
    h("Single leg hop distance L (cm)", "121;130;118", "hop_distance", "left"),
    h("SL hop for distance R (m)", "1.21;1.30;1.18", "hop_distance", "right"),
    h("Hop time L (s)", "2.1;2.2;1.9", ASK),
    h("Hop time R", "2.1;2.2;1.9", ASK),
    h("Single leg hop L (cm)", "121;130;118", ASK),
    h("Triple hop distance L (cm)", "421;430;418", ASK),
    h("Side hop R", "40;44;38", ASK),
    h("Hop LSI %", "95;98;91", ASK),
    h("SL squat quality L", "0;1;2", ASK),
    h("Y balance anterior L (cm)", "61;64", ASK),
    h("FPI-6 L", "2;4;3", ASK),
    # reported
    h("Pain at rest (0-10)", "0;1;2", "pain_rest"),
    h("Pain during running", "0;3;2", "pain_running"),
    h("Pain run (VAS 0-100)", "10;30;20", ASK),
    h("Pain", "0;3;2", ASK),
    h("LEFS", "71;76;64", "lefs_total"),
    h("VISA-A", "71;76;64", "visa_a_total"),
    h("VISA-P", "71;76;64", ASK),
    h("AKPS (0-100)", "71;76;64", "akps_total"),
    h("Weekly mileage (km)", "40;50;35", "weekly_distance"),
    h("Weekly mileage", "40;50;35", ASK),
    h("RPE", "12;13", ASK),
    h("Session", "1;2", ASK),
    h("Session load", "400;500", ASK),
    h("Pain post", "2;3", ASK),
    h("LEFS /80", "71;76;64", "lefs_total"),
    h("PF strength L (N)", N, ASK),
    h("Hip abductor peak force L (N)", N, "hip_abductor_strength", "left"),
    h("Single-leg hop for distance - Left (in)", "50;52", "hop_distance", "left"),
    h("Contact time Lt (msec)", "245;250", "contact_time", "left"),
    h("FPPA L", SMALL, ASK),
    h("Vertical displacement", "8;9", ASK),
    h("Pace (min/km)", "5;6", ASK),
    # a clinic's own export
    h("knee_flexion_midstance_left_2 [deg]", DEG, "knee_flexion_midstance", "left", 2),
)

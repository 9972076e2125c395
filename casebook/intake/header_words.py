"""How clinics write the names of columns: words that mean the same, and the metrics' other names.

All of this is common practice, no source. Nothing here decides alone: a name must be one of a
metric's names word for word, in any order, before it is taken without a question.
"""

from __future__ import annotations

# One word for several: abbreviations, spellings, and words of two parts (parted by a blank).
SAME: dict[str, str] = {
    "abd": "abduction", "abductor": "abduction", "abductors": "abduction", "abds": "abduction",
    "add": "adduction", "flex": "flexion", "flx": "flexion", "fl": "flexion", "ext": "extension",
    "extn": "extension", "extensor": "extension", "extensors": "extension", "df": "dorsiflexion",
    "dorsi": "dorsiflexion", "dorsiflex": "dorsiflexion",
    "ever": "eversion", "evert": "eversion", "inv": "inversion", "ic": "contact",
    "initial contact": "contact", "foot strike": "contact", "footstrike": "contact",
    "touchdown": "contact", "touch down": "contact", "landing": "contact", "heel strike": "contact",
    "strike": "contact", "td": "contact",
    "mid stance": "midstance", "toe off": "toeoff", "toe-off": "toeoff", "push off": "pushoff",
    "pelvis": "pelvic", "hips": "hip", "knees": "knee", "ankles": "ankle", "feet": "foot",
    "torso": "trunk", "lateral": "side", "sideways": "side",
    "ground contact": "groundcontact", "gct": "groundcontact time", "tc": "contact time",
    "str": "strength", "force": "strength", "hhd": "dynamometer", "dynamometry": "dynamometer",
    "isom": "isometric", "mvic": "isometric", "max": "peak", "maximum": "peak", "maximal": "peak",
    "greatest": "peak", "pk": "peak", "wt": "weight", "wb": "weightbearing",
    "weight bearing": "weightbearing", "wblt": "weightbearing lunge", "ktw": "knee wall",
    "kwt": "knee wall", "cpd": "contralateral pelvic drop", "contra": "contralateral",
    "sl": "singleleg", "single leg": "singleleg", "one leg": "singleleg",
    "single limb": "singleleg",
    "unilateral": "singleleg", "slh": "singleleg hop", "slhd": "singleleg hop distance",
    "dist": "distance", "rear foot": "rearfoot", "hindfoot": "rearfoot", "fore foot": "forefoot",
    "mtpj": "mtp", "1st": "first", "mtp1": "first mtp",
    "great toe": "bigtoe", "big toe": "bigtoe", "shank": "lowerleg", "tibia": "lowerleg",
    "tibial": "lowerleg", "lower leg": "lowerleg", "calc": "calcaneal", "nav": "navicular",
    "nd": "navicular drop", "step rate": "cadence", "steprate": "cadence", "cad": "cadence",
    "stride frequency": "stridefrequency", "raises": "raise", "rises": "raise", "rise": "raise",
    "overstriding": "overstride", "over stride": "overstride", "body weight": "bodymass",
    "bw": "bodymass", "body mass": "bodymass",
    "wk": "week", "weekly": "week", "run": "running", "runs": "running",
    "resting": "rest", "nrs": "nrs", "nprs": "nrs", "post": "after",
    "temps": "time", "duration": "time", "len": "length", "mileage": "distance", "visa a": "visaa",
}  # fmt: skip

# Words that a name may have or lack without meaning anything else.
PASSED_OVER = frozenset({
    "the", "of", "at", "in", "on", "for", "to", "a", "an", "with", "and", "value", "values",
    "measurement", "measure", "measured", "result", "deg", "degrees",
})  # fmt: skip

# Names of the starter catalogue's metrics, beside their key and label.
NAMES: dict[str, tuple[str, ...]] = {
    "foot_inversion_at_contact": ("rearfoot inversion contact", "foot inversion contact",
                                  "heel inversion contact"),
    "rearfoot_eversion_peak": ("rearfoot eversion peak", "rearfoot eversion peak stance",
                               "peak eversion rearfoot", "heel eversion peak"),
    "lower_leg_angle_posterior": ("lowerleg angle posterior", "lowerleg angle behind"),
    "knee_travel_to_midline": ("knee travel midline", "thigh angle midstance posterior",
                               "femoral adduction midstance"),
    "contralateral_pelvic_drop": ("contralateral pelvic drop",
                                  "contralateral pelvic drop midstance",
                                  "pelvic drop stance", "pelvic drop contralateral stance"),
    "pelvis_shift": ("pelvic shift stance side",),
    "trunk_side_lean": ("ipsilateral trunk lean", "trunk side lean stance",
                        "trunk lean over stance", "ipsilateral trunk side lean"),
    "step_width": ("step width",),
    "foot_ahead_of_body": ("foot ahead body contact", "foot ahead body",
                           "foot com distance contact", "horizontal distance foot com contact"),
    "foot_angle_at_contact": ("foot angle contact", "foot inclination contact",
                              "foot inclination angle", "foot inclination angle contact"),
    "shank_angle_at_contact": ("lowerleg angle contact", "lowerleg inclination contact"),
    "knee_flexion_at_contact": ("knee flexion contact", "knee angle flexion contact"),
    "knee_flexion_midstance": ("knee flexion midstance", "knee flexion peak midstance"),
    "ankle_dorsiflexion_peak": ("ankle dorsiflexion peak", "ankle dorsiflexion peak stance",
                                "ankle dorsiflexion peak midstance"),
    "ankle_angle_heel_rise": ("ankle angle heel raise off", "ankle angle heel raise"),
    "heel_rise_timing": ("heel raise timing", "heel raise share stance", "heel raise stance %"),
    "hip_extension_toe_off": ("hip extension toeoff",),
    "forward_lean": ("body forward lean", "whole body forward lean", "whole body lean forward"),
    "speed": (),
    "cadence": ("cadence", "running cadence", "step cadence"),
    "contact_time": ("contact time", "groundcontact time", "stance contact time"),
    "flight_time": ("flight time", "aerial time"),
    "step_length": ("step length",),
    "stride_length": ("stride length",),
    "forefoot_varus": ("forefoot rearfoot angle", "forefoot varus", "forefoot varus angle"),
    "calcaneal_eversion_range": ("calcaneal eversion range", "calcaneal eversion rom"),
    "tibial_varum": ("lowerleg varum",),
    "first_ray_mobility": ("first ray mobility",),
    "big_toe_extension": ("bigtoe extension", "hallux extension", "first mtp extension",
                          "hallux dorsiflexion", "first mtp dorsiflexion", "bigtoe extension rom",
                          "first mtp extension rom"),
    "lunge_distance": ("weightbearing lunge distance", "knee wall distance", "lunge distance",
                       "knee wall", "knee wall test", "weightbearing lunge test distance"),
    "lunge_angle": ("weightbearing lunge angle", "lunge angle", "weightbearing lunge test angle"),
    "navicular_drop": ("navicular drop", "navicular drop test"),
    "hip_abductor_strength": ("hip abduction strength",),
    "hip_abductor_strength_per_kg": ("hip abduction strength per bodymass",
                                     "hip abduction strength", "hip abduction strength bodymass",
                                     "hip abduction strength per kg"),
    "hip_extensor_strength": ("hip extension strength",),
    "hip_extensor_strength_per_kg": ("hip extension strength per bodymass",
                                     "hip extension strength", "hip extension strength bodymass",
                                     "hip extension strength per kg"),
    "calf_strength": ("calf strength", "plantarflexion strength", "ankle plantarflexion strength",
                      "plantarflexor strength"),
    "calf_strength_per_kg": ("calf strength per bodymass", "calf strength",
                             "plantarflexion strength", "plantarflexion strength per kg",
                             "calf strength per kg"),
    "heel_raise_count": ("singleleg heel raise", "heel raise count", "calf raise count",
                         "singleleg calf raise", "singleleg heel raise count",
                         "singleleg calf raise count", "heel raise reps", "calf raise reps",
                         "singleleg heel raise reps", "singleleg calf raise reps"),
    "single_leg_squat_quality": ("singleleg squat quality", "singleleg squat grade"),
    "hop_distance": ("singleleg hop distance", "singleleg hop test distance", "hop distance"),
    "pain_rest": ("pain rest", "rest pain", "nrs pain rest"),
    "pain_running": ("pain running", "pain during running", "nrs pain running",
                     "nrs pain during running"),
    "pain_after": ("pain after running", "nrs pain after running"),
    "uwri_total": ("uwri", "uwri total", "uwri score"),
    "lefs_total": ("lefs", "lefs total", "lefs score"),
    "visa_a_total": ("visaa", "visaa total", "visaa score"),
    "akps_total": ("akps", "akps total", "akps score"),
    "weekly_distance": ("week distance", "week running distance", "distance per week",
                        "distance last 7 days", "week distance running"),
    "session_load": ("session load week", "session load 7 days", "srpe load week"),
}  # fmt: skip

# Where a side may be the leg that stands or the way something moves, a name must say which.
SIDE_UNCLEAR = frozenset({"pelvis_shift", "trunk_side_lean"})
# Keys that say less than what the metric is: not every pain afterwards is one after running.
KEY_SAYS_LESS = frozenset({"pain_after", "session_load"})

# Words that may stand beside any name of a metric of strength.
BESIDE_STRENGTH = frozenset({"peak", "isometric", "dynamometer"})

VISIT_NAMES: dict[str, tuple[str, ...]] = {
    "runner": ("runner", "runner code", "runner id", "athlete", "athlete id", "athlete code",
               "subject", "subject id", "participant", "participant id", "patient", "patient id",
               "client", "client id", "code", "pt id", "case", "case id", "runner no", "person"),
    "visit_date": ("date", "visit date", "test date", "date test", "date visit", "assessment date",
                   "date assessment", "date assessed", "session date", "testing date",
                   "date testing", "measurement date", "day visit", "visit day", "exam date"),
    "session": ("session no", "session number"),
    "kind": ("visit kind", "visit type", "kind"),
    "speed_km_h": ("speed", "running speed", "treadmill speed", "test speed", "belt speed",
                   "running velocity", "velocity"),
    "surface": ("surface", "running surface"),
    "incline_pct": ("incline", "treadmill incline", "gradient", "slope", "treadmill gradient"),
    "footwear": ("footwear", "shoe", "shoes", "running shoe", "running shoes", "shoe type"),
    "view": ("camera view", "view"),
    "frames_per_s": ("fps", "frame rate", "frames per second", "camera rate", "frames s",
                     "camera frame rate", "frames per s", "sampling rate"),
    "assessor": ("assessor", "examiner", "rater", "tester", "assessed by", "clinician",
                 "measured by", "tested by", "physio", "therapist"),
    "pain_today": ("pain today", "todays pain", "today's pain"),
    "next_due": ("next visit", "next due", "next review", "review due", "next appointment",
                 "due date", "next visit date"),
    "note": ("note", "notes", "comment", "comments", "remarks", "remark", "observations"),
}  # fmt: skip
TIDY_NAMES: dict[str, tuple[str, ...]] = {
    "metric": ("metric", "measure", "variable", "parameter", "test", "outcome", "item",
               "measurement", "test name", "outcome measure"),
    "side": ("side", "leg", "limb", "foot", "side tested", "leg tested", "body side"),
    "trial": ("trial", "trial no", "trial number", "rep", "repetition", "attempt", "repeat",
              "rep no", "try"),
    "value": ("value", "result", "reading", "measured value", "test value"),
    "n_trials": ("n trials", "number trials", "trials", "no trials", "trial count"),
    "unit": ("unit", "units"),
    "missing_reason": ("missing reason", "reason missing", "why missing"),
}  # fmt: skip

# Of a sheet with a row for each week of a programme.
WEEK_NAMES: dict[str, tuple[str, ...]] = {
    "programme": ("programme", "program", "rehab programme", "rehab program",
                  "exercise programme", "exercise program", "programme title", "programme name"),
    "programme_started_on": ("programme started", "programme start", "programme start date",
                             "program start", "program start date", "programme started on"),
    "week_start": ("week start", "week starting", "week commencing", "week beginning",
                   "week from", "w c", "wc", "w b", "start week", "week start date",
                   "first day week", "monday"),
    "sessions_planned": ("sessions planned", "sessions prescribed", "no sessions planned",
                         "number sessions planned", "sessions due"),
    "sessions_done": ("sessions done", "sessions completed", "no sessions done",
                      "number sessions done", "number sessions completed", "sessions performed",
                      "no sessions completed"),
    "pain_during": ("pain during", "pain during exercise", "pain during exercises",
                    "pain during session", "pain during sessions", "nrs pain during"),
    "pain_morning_after": ("pain morning after", "pain next morning", "pain following morning",
                           "pain morning after session", "nrs pain morning after"),
    "comment": ("comment", "comments", "note", "notes", "remark", "remarks"),
}  # fmt: skip
# Of a sheet with a row for each run.
RUN_NAMES: dict[str, tuple[str, ...]] = {
    "run_date": ("date", "run date", "date run", "day run", "session date", "training date"),
    "distance_km": ("distance", "run distance", "running distance", "distance covered",
                    "km", "kilometres", "kilometers", "km run"),
    "minutes": ("minutes", "minutes run", "duration", "run duration", "time", "running time"),
    "effort": ("effort", "rpe", "session rpe", "srpe", "perceived exertion",
               "perceived effort"),
}  # fmt: skip
# Names that may mean it, and are always asked about.
WEEK_PERHAPS: dict[str, tuple[str, ...]] = {
    "week_start": ("week", "date", "week ending", "week end", "week no", "week number", "day",
                   "start", "start date"),
    "programme": ("plan", "title", "exercise plan", "protocol"),
    "sessions_planned": ("planned", "prescribed", "sessions", "target sessions", "plan",
                         "expected", "sessions target"),
    "sessions_done": ("done", "completed", "sessions", "actual", "performed", "adherence"),
    "pain_during": ("pain", "peak pain", "peak pain during", "pain exercise"),
    "pain_morning_after": ("pain after", "morning pain", "pain next day", "pain day after",
                           "pain 24h", "pain 24 h", "next day pain", "pain morning"),
}  # fmt: skip
RUN_PERHAPS: dict[str, tuple[str, ...]] = {
    "run_date": ("day", "when"),
    "number": ("run no", "run number", "run", "number", "no", "session"),
    "distance_km": ("miles", "mileage", "total distance", "length"),
    "minutes": ("moving time", "elapsed time", "time min", "length"),
    "effort": ("borg", "intensity", "exertion", "feel"),
}  # fmt: skip

# A name with one of these is not the number itself but something made of it, or of another time.
MADE_OF_IT = frozenset({
    "diff", "difference", "asym", "asymmetry", "asymm", "lsi", "symmetry", "ratio", "delta",
    "change", "sd", "std", "stdev", "sem", "se", "cv", "icc", "norm", "norms", "target", "goal",
    "percentile", "rank", "z", "zscore", "mdc", "mean", "average", "avg", "median", "min",
    "minimum", "best", "worst", "var", "variance", "pre", "previous", "prev", "followup", "fu",
    "limit", "cutoff", "improvement", "gain", "deficit", "sum",
})  # fmt: skip

// A bench file in which every key stands once, for its reader's tests.
#pragma once

#include <string>

namespace assay::cli::helpers {

inline constexpr const char* bench_name = "bench.toml";

inline const std::string whole_bench = R"([sound]
source = "device"
playback_device = "Übungs-Karte"
record_device = "card"
sample_rate_hz = 96000
shared_clock = false
ground = "supply-negative"

[[output]]
name = "drive"
channel = 2
volts_at_full_scale = 2.10
maximum_volts = 1.50
inverted = true

[[input]]
name = "probe-a"
channel = 1
volts_at_full_scale = 1.95
attenuation = 12
uncertainty_percent = 1.0
calibrated_at_hz = 83
calibrated_on = 2026-03-01
clean_up_to_dbfs = -1.0
own_thd_percent = 0.002
high_pass_hz = 4
role = "voltage"

[[input]]
name = "probe-b"
channel = 2
volts_at_full_scale = 2
tolerance_percent = 3
inverted = true

[[input]]
name = "lamp"
channel = 4
volts_at_full_scale = 1
role = "clip-detector"
threshold_dbfs = -6

[[input]]
name = "jig-in"
channel = 3
volts_at_full_scale = 1.0
meter = "bench-meter"
calibrated_at_volts = 0.5

[[meter]]
name = "bench-meter"
accuracy_percent = 0.8
digits = 3
resolution_v = 0.01
ac_max_hz = 400
true_rms = true

[[load]]
name = "load-a"
resistance_ohm = 4.03
uncertainty_percent = 1.5
rated_power_w = 100
rated_power_no_heatsink_w = 20
tempco_ppm_per_k = -50
inductance_uh = 0
plus = "probe-a"

[[load]]
name = "bridge"
resistance_ohm = inf
driven_by = ["drive"]
plus = "probe-a"
minus = "probe-b"

[impedance_jig]
topology = "sense-low"
series_ohm = 22.05
tolerance_percent = 0.1
generator_side = "jig-in"
driver_side = "probe-b"
lead_ohm = 0.04
input_resistance_ohm = 1e6
match = "match.json"

[simulated]
seed = 7
load_k_per_w = 2

[simulated.amplifier]
gain_db = 20
rail_scale = [1.0, 0.8]
second_channel_inverted = true

[simulated.card]
bits = 16
)";

}  // namespace assay::cli::helpers

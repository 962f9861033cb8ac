// The benches and jobs whose quantities are held against the laws (laws_of_quantities_test.cpp): an amplifier
// that bends and clips unevenly, so that every quantity of it is there, and a driver in its jig.
#pragma once

namespace assay::drawn {

inline constexpr const char* amplifier_bench = R"([sound]
source = "simulated"
sample_rate_hz = 48000
[[output]]
name = "left"
channel = 1
volts_at_full_scale = 2.0
maximum_dbfs = 0.0
[[output]]
name = "right"
channel = 2
volts_at_full_scale = 2.0
maximum_dbfs = 0.0
[[input]]
name = "probe-1"
channel = 1
volts_at_full_scale = 3.0
attenuation = 12
[[input]]
name = "probe-2"
channel = 2
volts_at_full_scale = 3.0
attenuation = 12
[[load]]
name = "load-1"
resistance_ohm = 4.0
driven_by = ["left"]
plus = "probe-1"
[[load]]
name = "load-2"
resistance_ohm = 4.0
driven_by = ["right"]
plus = "probe-2"
[[load]]
name = "open"
resistance_ohm = inf
driven_by = ["left"]
plus = "probe-1"
[simulated.amplifier]
gain_db = 26
supply_v = 10
rail_scale = [1.0, 0.93]
low_cut_hz = 30
high_cut_hz = 12000
hum_v = 0.003
second_order = 1e-3
third_order = 1e-3
channel_gain_db = [0.0, -0.3]
[simulated.card]
delay_s = 0.5
)";

inline constexpr const char* amplifier_job = R"([[test]]
id = "power"
measure = "clipping-power"
loads = ["load-1", "load-2"]
distortion_limits_percent = [1]
from_dbfs = -26
to_dbfs = -2
step_db = 2
rated_power_w = 1.5
[[test]]
id = "distortion"
measure = "distortion"
loads = ["load-1", "load-2"]
drive_dbfs = -2
[[test]]
id = "meter"
measure = "meter-power"
loads = ["load-1"]
output_v = 10
[[test]]
id = "apart"
measure = "separation"
driven = "load-1"
idle = "load-2"
frequencies_hz = [1000]
[[test]]
id = "modulation"
measure = "intermodulation"
loads = ["load-1"]
drive_dbfs = -10
)";

// Ten times as long to record.
inline constexpr const char* more_of_the_amplifier = R"([[test]]
id = "difference"
measure = "intermodulation"
loads = ["load-1"]
method = "difference-frequency"
drive_dbfs = -10
[[test]]
id = "quiet"
measure = "distortion"
loads = ["load-1", "load-2"]
[[test]]
id = "response"
measure = "response"
loads = ["load-1", "load-2"]
[[test]]
id = "loaded"
measure = "response"
loads = ["load-1"]
[[test]]
id = "unloaded"
measure = "response"
loads = ["open"]
[[test]]
id = "source"
measure = "output-impedance"
loaded = "loaded"
unloaded = "unloaded"
[[test]]
id = "noise"
measure = "noise"
loads = ["load-1"]
reference_power_w = 10
[[test]]
id = "band"
measure = "power-bandwidth"
loads = ["load-1"]
frequencies_hz = [20, 20000]
[[test]]
id = "bursts"
measure = "burst-power"
loads = ["load-1"]
continuous = "power"
off_ms = 50
[[test]]
id = "long"
measure = "endurance"
loads = ["load-1"]
minutes = 0.5
)";

inline constexpr const char* driver_bench = R"([sound]
source = "simulated"
sample_rate_hz = 48000
[[output]]
name = "drive"
channel = 1
volts_at_full_scale = 2.0
maximum_dbfs = 0.0
[[input]]
name = "jig-1"
channel = 1
volts_at_full_scale = 2.0
[[input]]
name = "jig-2"
channel = 2
volts_at_full_scale = 2.0
[impedance_jig]
series_ohm = 22.0
generator_side = "jig-1"
driver_side = "jig-2"
[simulated.card]
delay_s = 0.5
)";

inline constexpr const char* driver_job = R"([unit]
kind = "driver"
[[test]]
id = "inputs"
measure = "match"
drive_dbfs = -12
[[test]]
id = "free"
measure = "impedance"
drive_dbfs = -12
[[test]]
id = "mass"
measure = "impedance"
added_mass_g = 10
drive_dbfs = -12
[[test]]
id = "parameters"
measure = "driver-parameters"
free_air = "free"
with_mass = "mass"
effective_diameter_mm = 130
)";

}  // namespace assay::drawn

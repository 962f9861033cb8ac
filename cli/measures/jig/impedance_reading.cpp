#include "cli/measures/jig/impedance_reading.h"

#include <fmt/format.h>

#include <algorithm>

#include "analysis/driver/local_fit.h"
#include "cli/files/curves/impedance_file.h"
#include "cli/measures/recording/placing.h"

namespace assay::cli {

namespace {

using capture::FaultKind;
using capture::Result;

/// Points within the test's own start_hz and stop_hz, where it states them.
void keep_band(const Test& test, analysis::ImpedanceCurve& curve) {
    const double start_hz = test.number("start_hz").value_or(0.0);
    const double stop_hz = test.number("stop_hz").value_or(1e12);
    std::erase_if(curve.points, [&](const analysis::ImpedancePoint& point) {
        return point.frequency_hz < start_hz || point.frequency_hz > stop_hz;
    });
}

Result<ImpedanceReading> from_file(const Setup& setup, const std::string& name) {
    const std::string path = (setup.folder / name).string();
    auto curve = read_impedance_file(path);
    if (!curve) {
        // The folder holds a copy; the file to mend is the one that the job names.
        capture::Fault fault = curve.error();
        if (fault.text.starts_with(path)) fault.text.replace(0, path.size(), name);
        return tl::unexpected<capture::Fault>(fault);
    }
    keep_band(*setup.test, *curve);
    if (curve->points.size() < analysis::fewest_points_of_local_fit) {
        return capture::fail(
            FaultKind::bad_input_file,
            fmt::format("{}: holds {} points between start_hz and stop_hz, at least {} are needed", name,
                        curve->points.size(), analysis::fewest_points_of_local_fit),
            "give a curve with more points, or widen start_hz and stop_hz");
    }
    ImpedanceReading reading;
    reading.full.curve = std::move(*curve);
    return reading;
}

}  // namespace

Result<ImpedanceReading> read_impedance(const Setup& setup, std::span<const Take> takes) {
    if (const auto file = setup.test->text("from_file")) return from_file(setup, *file);
    if (!setup.bench->jig) {
        return capture::fail(FaultKind::bad_input_file, "the bench has no [impedance_jig]",
                             "describe the jig in the bench file");
    }
    if (takes.empty()) {
        return capture::fail(FaultKind::untrusted_capture, "nothing was recorded", "record the test's tone");
    }
    const Take& take = takes.front();
    ImpedanceReading reading;
    auto match = match_for(setup);
    if (!match) return tl::unexpected<capture::Fault>(match.error());
    reading.match = std::move(*match);
    auto jig_take = read_jig_take(setup, take);
    if (!jig_take) return tl::unexpected<capture::Fault>(jig_take.error());
    reading.take = std::move(*jig_take);
    if (const auto wired = check_wiring(setup, take, reading.take->full, reading.match); !wired)
        return tl::unexpected<capture::Fault>(wired.error());
    reading.full = curve_of_transfer(setup, reading.take->full, reading.match);
    const std::size_t lines = reading.take->full.lines.size();
    if (reading.full.curve.points.size() < std::max(lines / 4, std::size_t{12})) {
        return capture::fail(
            FaultKind::untrusted_capture,
            fmt::format("{}: level too low: only {} of {} frequencies stand out of the noise", file_of(take),
                        reading.full.curve.points.size(), lines),
            "raise the level, or use a series resistor nearer to the driver's impedance");
    }
    if (reading.take->half) reading.half_level = curve_of_transfer(setup, *reading.take->half, reading.match);
    return reading;
}

Result<analysis::ImpedanceCurve> impedance_curve_of(const Setup& setup, std::span<const Take> takes) {
    auto reading = read_impedance(setup, takes);
    if (!reading) return tl::unexpected<capture::Fault>(reading.error());
    return std::move(reading->full.curve);
}

}  // namespace assay::cli

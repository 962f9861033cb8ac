// What the drawings of one test are: each a sheet with the end of its file's name and its caption.
#pragma once

#include <optional>
#include <string>

#include "cli/certificate/plot_sheet.h"
#include "cli/files/session.h"

namespace assay::cli {

struct TestPlot {
    std::string kind{};     // "level": the file is "power-4-ohm-level.svg"
    std::string caption{};  // in plain words
    PlotSheet sheet{};
};

/// Distortion against power (or volts, where there are no watts), all loads on one sheet, with the limits,
/// what was claimed, and where clipping begins.
std::optional<TestPlot> level_plot(const Session& session, const TestRecord& record);

/// Gain with phase, separation or output impedance against frequency; one line a load.
std::optional<TestPlot> frequency_plot(const Session& session, const TestRecord& record);

/// Power at its distortion limits against frequency; points that the fall of gain tells are marked.
std::optional<TestPlot> power_bandwidth_plot(const Session& session, const TestRecord& record);

/// Harmonics of one level as bars, with the floor below which the bench tells nothing.
std::optional<TestPlot> harmonics_plot(const Session& session, const TestRecord& record);

/// Harmonics 2 to 5 of a sweep against the frequency of the tone, the loads above each other.
std::optional<TestPlot> harmonics_sweep_plot(const Session& session, const TestRecord& record);

/// Impedance with phase, and the model of a fit; and what the fit leaves.
std::optional<TestPlot> impedance_plot(const Session& session, const TestRecord& record);
std::optional<TestPlot> residual_plot(const Session& session, const TestRecord& record);

/// Volts, watts and distortion over the minutes of an endurance test.
std::optional<TestPlot> endurance_plot(const Session& session, const TestRecord& record);

/// What was claimed of a quantity as a number: the limit that is stated.
std::optional<double> claimed_value(const JudgedClaim& claim);

}  // namespace assay::cli

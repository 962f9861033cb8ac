// What the drawings of one test are: each a sheet with the end of its file's name and its caption.
#pragma once

#include <optional>
#include <string>

#include "cli/certificate/plots/plot_sheet.h"
#include "cli/files/session/session.h"

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

/// A limit that was claimed, and what is written along its line: "claimed 22 W". A text of both ends,
/// "claimed 36.55 to 49.45 Hz", stands with the lower one only.
struct ClaimedLimit {
    double value = 0.0;
    std::string text{};
};

/// The limits of a claim, none, one or two. `unit` as in session.json.
std::vector<ClaimedLimit> claimed_limits(const JudgedClaim& claim, const std::string& unit);

}  // namespace assay::cli

// What the findings look at in power tests: where each channel flattens into which load, and with what gain.
#pragma once

#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "analysis/units.h"
#include "cli/measures/judgement/finding.h"

namespace assay::cli {

/// One load of one clipping-power test.
struct ClipReading {
    std::string test{};
    std::string load{};
    double load_ohm = 0.0;
    std::pair<std::size_t, std::size_t> channel{};  // the points that the probes touch: the unit's channel
    bool bridged = false;
    std::size_t together = 1;  // loads driven at once
    std::size_t order = 0;     // of the test in the session
    const Numbers* numbers = nullptr;
    std::optional<double> gain_db{};
    double gain_doubt_db = 0.0;          // expanded, of this test's own noise: scales cancel between tests
    std::optional<double> positive_v{};  // peak where each half starts to flatten
    std::optional<double> negative_v{};
    double top_v = 0.0;             // RMS at the loudest step
    bool vanished = false;          // the tone went away while the levels rose
    bool clean_below_clip = false;  // the wave is a sine until it flattens
    std::optional<double> supply_idle_v{};
    std::optional<double> supply_loaded_v{};

    /// Peak where the first half starts to flatten.
    std::optional<double> ceiling_v() const;
};

std::vector<ClipReading> clip_readings(const capture::Bench& bench, const std::vector<TestedResult>& tests);

/// Source resistance of each channel, by its gain into two loads: r = g1/g2, R = R1 R2 (r - 1) / (R1 - r R2).
struct SourceResistance {
    double ohm = 0.0;
    double doubt_ohm = 0.0;  // expanded, of the noise of both gains
    const ClipReading* high = nullptr;
    const ClipReading* low = nullptr;
};
std::optional<SourceResistance> source_resistance(const std::vector<ClipReading>& readings,
                                                  std::pair<std::size_t, std::size_t> channel);

/// Every channel once, in the order in which it was measured.
std::vector<std::pair<std::size_t, std::size_t>> channels_of(const std::vector<ClipReading>& readings);

/// Two channels of one test on equal loads, the highest load first: what may be compared.
struct ChannelPair {
    const ClipReading* first = nullptr;
    const ClipReading* second = nullptr;
};
std::vector<ChannelPair> pairs_of(const std::vector<ClipReading>& readings);

/// "4 ohm, 2 channels driven"
std::string load_words(const ClipReading& reading);
Evidence ceiling_evidence(const ClipReading& reading);
Evidence gain_evidence(const ClipReading& reading);

/// The rules of one subject each; they add what they find.
void find_uneven_halves(const std::vector<ClipReading>& readings, std::vector<Finding>& found);
void find_unequal_channels(const std::vector<ClipReading>& readings, std::vector<Finding>& found);
void find_fall_with_load(const std::vector<ClipReading>& readings, std::vector<Finding>& found);
void find_source_resistance(const std::vector<ClipReading>& readings, std::vector<Finding>& found);
void find_fade(const std::vector<ClipReading>& readings, std::vector<Finding>& found);
void find_no_clip(const std::vector<ClipReading>& readings, std::vector<Finding>& found);
void find_protection(const std::vector<ClipReading>& readings, std::vector<Finding>& found);
void find_crossover(const std::vector<ClipReading>& readings, std::vector<Finding>& found);

}  // namespace assay::cli

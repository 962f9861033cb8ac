// Two sessions side by side: left against right, before against after.
//
// Errors that both sessions share cancel in the difference (JCGM 100:2008, 5.2.2 with r = 1): those of one
// source of one part of the bench that stands in both sessions with the same name, the same wiring and the
// same values. A part that was calibrated again has other values, and counts as another. What belongs to one
// run (ids that begin with "test:") and what is no part of the bench never cancels.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "cli/files/session/session.h"

namespace assay::cli {

struct ComparedQuantity {
    std::string test{};
    std::string load{};  // empty: the whole test
    std::string name{};
    analysis::Quantity left{};
    analysis::Quantity right{};
    analysis::Quantity difference{};  // right less left, in their unit
    /// The same in per cent of the left value; decibels as the ratio of voltages (or pressures) that they
    /// stand for. None where per cent mean nothing: values that are per cent themselves, or not above zero.
    std::optional<analysis::Quantity> percent{};
    std::optional<analysis::Verdict> matched{};
};

struct ComparedCurve {
    std::string test{};
    std::string load{};
    std::string name{};
    std::string unit{};  // "%" of the left curve (complex impedance), or "dB"
    std::size_t points = 0;
    bool interpolated = false;  // the two have other frequencies
    double from_hz = 0.0;
    double to_hz = 0.0;
    double rms = 0.0;
    double worst = 0.0;
    double worst_hz = 0.0;
};

/// A condition of a test that both state, and differently.
struct ComparedCondition {
    std::string test{};
    std::string name{};
    Condition left{};
    Condition right{};
};

struct Comparison {
    std::optional<double> within_percent{};
    std::vector<ComparedQuantity> quantities{};
    std::vector<ComparedCurve> curves{};
    std::vector<ComparedCondition> conditions{};
    std::vector<std::string> remarks{};  // tests that only one has, or that cannot be compared
    /// Of all quantities that have one: not met if any is, met if all are. None without `within_percent`, or
    /// without a quantity that can be judged.
    std::optional<analysis::Verdict> matched{};
};

Comparison compare(const Session& left, const Session& right, std::optional<double> within_percent);

/// Table for a terminal, and the same as JSON (schema "assay-comparison-1").
std::string comparison_text(const Comparison& comparison, const Session& left, const Session& right);
std::string comparison_json(const Comparison& comparison, const Session& left, const Session& right);

}  // namespace assay::cli

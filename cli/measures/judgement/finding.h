// Why a unit falls short: short findings in plain words, each with the figures that it rests on. They are
// made from the results of all tests of a session together, and say nothing where everything is as it should
// be.
//
// Source: the rules rest on textbook relations (a divider of source and load, a sine's mean current), on the
// closed form of a dead zone, and on DIN 45500 where it states a limit. Other thresholds are common practice,
// no source; each is marked where it stands. Valid for two-channel and bridged amplifiers on resistors. A
// finding names what the numbers show; which part inside is at fault only an open unit tells.
#pragma once

#include <string>
#include <vector>

#include "capture/bench.h"
#include "cli/measures/result.h"

namespace assay::cli {

/// A figure that a finding rests on, and where it was measured.
struct Evidence {
    std::string what{};  // "onset of clipping at 4 ohm, both channels driven"
    double value = 0.0;
    std::string unit{};
    std::string test{};
    std::string load{};  // empty: of the whole test
};

enum class Confidence {
    clear,        // nothing else that is known here gives these figures
    likely,       // something else could, and `next` tells how to find out
    cannot_tell,  // that power is lost is sure; what takes it cannot be told from these data
};

struct Finding {
    std::string code{};  // "supply-sag"; stable, for programs
    std::string text{};  // one sentence, for a person
    std::vector<Evidence> evidence{};
    Confidence confidence = Confidence::likely;
    std::string next{};  // what to try or to measure next
};

struct TestedResult {
    std::string id{};
    const TestResult* result = nullptr;
};

/// Tests in the order in which they were measured. Tests with a fault are passed over.
std::vector<Finding> find_causes(const capture::Bench& bench, const std::vector<TestedResult>& tests);

std::string confidence_word(Confidence confidence);

}  // namespace assay::cli

// Rating bases: the conditions under which the trade states watts, as defaults for tests and claims of a job,
// and as a list of what was done of them. Nothing here claims that a standard is complied with.
//
// Sources: each condition bears its own (see rating.cpp). The texts of the standards themselves were not
// seen.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "capture/bench.h"
#include "cli/measures/job.h"

namespace assay::cli {

/// A condition that a basis sets, with where it is known from.
template <class T>
struct Stated {
    T value{};
    std::string source{};
};

struct RatingBasis {
    std::string name{};    // as the job gives it
    std::string words{};   // "mobile amplifiers at 14.4 V"
    std::string method{};  // what the method is based on
    double supply_low_v = 0.0;
    double supply_high_v = 0.0;
    std::string supply_words{};
    std::string supply_source{};
    Stated<double> load_ohm{};
    double limit_percent = 1.0;
    Stated<std::string> limit_on{};  // "thd" or "thd+n"
    std::string channels_source{};
    std::optional<Stated<double>> least_w{};  // the limit holds from here up
    bool audio_band = false;                  // 20 Hz to 20 kHz
    std::string band_source{};
    std::optional<Stated<double>> noise_re_w{};
    std::optional<Stated<double>> preconditioning_minutes{};  // at an eighth of the rated power
    std::optional<Stated<double>> held_minutes{};
    std::optional<Stated<double>> ambient_c{};
    std::string unknown_words{};  // a condition that nothing here can tell, if there is one
    std::string unknown_source{};
};

const std::vector<RatingBasis>& rating_bases();
const RatingBasis* find_rating_basis(const std::string& name);

/// Fills in what tests and claims of the job leave open: the rated power of clipping-power (the rating's at
/// its own load, else the one that the test's claims agree on), limits on THD+N where the basis has them so,
/// and the basis of claims in watts. A bridged load is no matter of channels driven.
void apply_rating(Job& job, const capture::Bench& bench);

}  // namespace assay::cli

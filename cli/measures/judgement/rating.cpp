#include "cli/measures/judgement/rating.h"

#include <algorithm>
#include <cmath>

namespace assay::cli {
namespace {

const char* const practice = "common practice, no source";

RatingBasis mobile_14_4() {
    const std::string described = "CTA-2006 as secondary pages describe it (seen); its text was not seen";
    const std::string memory = "CTA-2006, from memory; its text was not seen";
    RatingBasis basis;
    basis.name = "mobile-14.4-v";
    basis.words = "amplifiers run from a vehicle's supply, at 14.4 V";
    basis.method = "CTA-2006 (CEA-2006) as it is described elsewhere";
    basis.supply_low_v = basis.supply_high_v = 14.4;
    basis.supply_words = "14.4 V at the unit's terminals, under load";
    basis.supply_source = described + "; that it is read at the terminals: from memory";
    basis.load_ohm = {4.0, described};
    basis.limit_on = {"thd+n", described};
    basis.channels_source = memory;
    basis.audio_band = true;
    basis.band_source = described;
    basis.noise_re_w = Stated<double>{1.0, described};
    return basis;
}

RatingBasis mobile_12() {
    RatingBasis basis;
    basis.name = "mobile-12-v";
    basis.words = "amplifiers run from a vehicle's supply, as older data sheets rate them at 12 to 12.6 V";
    basis.method = "older practice of the trade";
    basis.supply_low_v = 12.0;
    basis.supply_high_v = 12.6;
    basis.supply_words = "12 to 12.6 V at the unit's terminals, under load";
    basis.supply_source = practice;
    basis.load_ohm = {4.0, practice};
    basis.limit_on = {"thd", practice};
    basis.channels_source = practice;
    return basis;
}

RatingBasis home_us() {
    const std::string summary = "16 CFR Part 432 as summaries of the 2024 text describe it (seen)";
    const std::string older = "16 CFR 432.3, text of 2006 (seen); today's text was not";
    RatingBasis basis;
    basis.name = "home-us";
    basis.words = "home amplifiers sold in the United States";
    basis.method = "16 CFR Part 432 as it is described elsewhere";
    basis.supply_low_v = basis.supply_high_v = 120.0;
    basis.supply_words = "mains of 120 V RMS";
    basis.supply_source = older;
    basis.load_ohm = {8.0, summary};
    basis.limit_on = {"thd+n", summary};
    basis.channels_source = summary + ": at least left and right front together";
    basis.least_w = Stated<double>{0.25, summary + " and the older 432.2; not confirmed in the 2024 text"};
    basis.audio_band = true;
    basis.band_source = summary;
    basis.preconditioning_minutes = Stated<double>{60.0, summary + " and the text of 2006"};
    basis.held_minutes = Stated<double>{5.0, summary};
    basis.ambient_c = Stated<double>{25.0, older + "; 77 F also in a summary of 2024"};
    basis.unknown_words = "mains of 60 Hz with less than 2 % distortion; still air";
    basis.unknown_source = older;
    return basis;
}

const Test* find_test(const Job& job, const std::string& id) {
    const auto found =
        std::find_if(job.tests.begin(), job.tests.end(), [&](const Test& test) { return test.id == id; });
    return found == job.tests.end() ? nullptr : &*found;
}

/// A claim in continuous watts: other figures are not what a rating of power is about.
bool of_power(const Claim& claim, const Test& test) {
    return claim.quantity.ends_with("_w") && claim.quantity.find("power") != std::string::npos &&
           (test.measure == "clipping-power" || test.measure == "meter-power");
}

void fill_claim(const RatingBasis& basis, const RatingStatement& stated, const Test& test,
                const capture::Bench& bench, Claim& claim) {
    if (!claim.at_supply_volts) {
        claim.at_supply_volts = basis.supply_low_v;
        claim.at_supply_volts_to = basis.supply_high_v;
        claim.by_basis = basis.name;
    }
    if (!claim.at_load_ohm) {
        claim.at_load_ohm = basis.load_ohm.value;
        claim.by_basis = basis.name;
    }
    const bool bridged = std::any_of(test.loads.begin(), test.loads.end(),
                                     [&](std::size_t index) { return bench.loads[index].bridged(); });
    if (!claim.channels_driven && !bridged) {
        claim.channels_driven = stated.channels;
        claim.by_basis = basis.name;
    }
    if (!claim.by_basis.empty()) claim.limit_on = basis.limit_on.value;
}

/// The power that all claims in watts per load of a test agree on.
std::optional<double> claimed_w(const Job& job, const Test& test) {
    std::optional<double> agreed;
    for (const Claim& claim : job.claims) {
        const auto watts = claim.at_least ? claim.at_least : claim.nominal;
        if (claim.test != test.id || claim.load.empty() || !of_power(claim, test) || !watts) continue;
        if (agreed && *agreed != *watts) return std::nullopt;
        agreed = watts;
    }
    return agreed;
}

/// A rating's watts are those at its own load.
bool at_rated_load(const Test& test, const RatingBasis& basis, const capture::Bench& bench) {
    constexpr double alike = 0.05;
    return std::all_of(test.loads.begin(), test.loads.end(), [&](std::size_t index) {
        const capture::Load& load = bench.loads[index];
        return !load.bridged() && std::abs(load.resistance_ohm / basis.load_ohm.value - 1.0) < alike;
    });
}

/// Where a test does not say which power is the rated one.
void fill_rated_power(Job& job, const RatingBasis* basis, const capture::Bench& bench) {
    for (Test& test : job.tests) {
        if (test.measure != "clipping-power" || test.fields.contains("rated_v") ||
            test.fields.contains("rated_power_w"))
            continue;
        auto watts = claimed_w(job, test);
        if (basis != nullptr && job.rating->rated_power_w && at_rated_load(test, *basis, bench))
            watts = job.rating->rated_power_w;
        if (watts && *watts > 0.0) test.fields["rated_power_w"] = *watts;
    }
}

}  // namespace

const std::vector<RatingBasis>& rating_bases() {
    static const std::vector<RatingBasis> bases{mobile_14_4(), mobile_12(), home_us()};
    return bases;
}

const RatingBasis* find_rating_basis(const std::string& name) {
    for (const RatingBasis& basis : rating_bases()) {
        if (basis.name == name) return &basis;
    }
    return nullptr;
}

void apply_rating(Job& job, const capture::Bench& bench) {
    const RatingBasis* basis = job.rating ? find_rating_basis(job.rating->basis) : nullptr;
    fill_rated_power(job, basis, bench);
    if (basis == nullptr) return;
    for (Test& test : job.tests) {
        if (test.measure == "clipping-power" || test.measure == "power-bandwidth")
            test.fields.try_emplace("limit_on", basis->limit_on.value);
    }
    for (Claim& claim : job.claims) {
        const Test* test = find_test(job, claim.test);
        if (test != nullptr && of_power(claim, *test)) fill_claim(*basis, *job.rating, *test, bench, claim);
    }
}

}  // namespace assay::cli

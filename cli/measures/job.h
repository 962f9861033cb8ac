// The job as read: the unit, its tests with their own fields, and what was claimed. The file reader
// (cli/files/job/job_file) checks everything; whoever holds a Job may rely on it.
#pragma once

#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "capture/bench.h"

namespace assay::cli {

enum class UnitKind { amplifier, driver, line };
enum class OutputStage { not_stated, linear, switching };

struct Unit {
    UnitKind kind = UnitKind::amplifier;
    std::string maker{};
    std::string model{};
    std::string serial{};
    std::string condition{};
    std::string repairs{};                   // what was mended or replaced
    std::string sellers_note{};              // the seller's own words
    std::vector<std::string> photographs{};  // files: as the job names them, then as the session keeps them
    std::optional<double> minimum_load_ohm{};
    std::optional<double> minimum_bridged_load_ohm{};
    OutputStage output_stage = OutputStage::not_stated;
};

using FieldValue = std::variant<double, std::string, std::vector<double>, std::vector<std::string>>;

/// One [[test]] table. `loads` and `reference` are resolved to indices of the bench; every other key stands
/// in `fields`, checked against the measure's field table; keys left out are not there.
struct Test {
    std::string id{};
    std::string measure{};
    std::vector<std::size_t> loads{};        // indices into Bench::loads
    std::optional<std::size_t> reference{};  // index into Bench::inputs
    std::map<std::string, FieldValue> fields{};
    std::map<std::string, int> lines{};  // line of each key in the job file, and of "" for the table

    std::optional<double> number(const std::string& field) const;
    std::optional<std::string> text(const std::string& field) const;
    std::optional<std::vector<double>> numbers(const std::string& field) const;
    std::vector<std::string> names(const std::string& field) const;  // empty where it is left out
};

struct Claim {
    std::string text{};
    std::string test{};
    std::string load{};  // empty: a quantity of the whole test
    std::string quantity{};
    std::optional<double> at_least{};
    std::optional<double> at_most{};
    std::optional<double> nominal{};
    std::optional<double> within_percent{};
    std::optional<double> nominal_impedance_ohm{};  // of minimum_ohm: no less than 80 % of it
    std::optional<double> at_supply_volts{};
    std::optional<double> at_load_ohm{};
    std::optional<double> channels_driven{};
    // What a rating's basis fills in where the claim leaves it open (see rating.h); not of the claim's own
    // words.
    std::string by_basis{};                      // name of the basis
    std::optional<double> at_supply_volts_to{};  // upper end, where the basis is a range
    std::string limit_on{};                      // "thd" or "thd+n"
};

/// The job's [rating]: the basis on which the unit is rated, and what was done for it by hand.
struct RatingStatement {
    std::string basis{};                    // name of a RatingBasis
    std::optional<double> rated_power_w{};  // each channel
    double channels = 2.0;                  // that the unit has
    std::optional<double> preconditioning_minutes{};
    std::optional<double> preconditioning_w{};  // each channel
    std::optional<double> held_minutes{};       // full power without a pause
};

struct Job {
    Unit unit{};
    std::vector<Test> tests{};
    std::vector<Claim> claims{};
    std::optional<RatingStatement> rating{};
    /// Inputs that tests of a line unit name, as loads of no resistance. Their indices follow those of the
    /// bench's own loads, so the bench takes them in before anything is measured (read_job does).
    std::vector<capture::Load> bare_inputs{};
};

}  // namespace assay::cli

// What a live run needs beside its job: the device, somebody to ask, the heat of the loads, the wiring check.
#pragma once

#include <map>
#include <memory>
#include <optional>
#include <set>

#include "capture/device/live.h"
#include "capture/heat_budget.h"
#include "cli/commands/commands.h"
#include "cli/commands/live/scale_check.h"
#include "cli/commands/terminal/questions.h"
#include "cli/measures/measure.h"
#include "cli/measures/readings.h"

namespace assay::cli {

class LiveSession {
  public:
    /// Finds the devices and whoever answers. Nothing sounds.
    [[nodiscard]] static capture::Result<std::unique_ptr<LiveSession>> open(const RunOptions& options,
                                                                            const capture::Bench& bench,
                                                                            const Manner& manner);
    capture::Device& device() { return *device_; }
    Questions& questions() { return questions_; }

    /// Cautions, what will be played and how loud; asks unless told not to.
    [[nodiscard]] capture::Result<void> introduce(const Job& job);
    /// Asks for what is in the impedance jig to be changed where this test needs something else there. For
    /// loads: asks for the leads to be moved where the loads of this test cannot hang beside those before;
    /// then the wiring is heard. Once for each set of loads.
    [[nodiscard]] capture::Result<void> before_test(const Setup& setup);
    /// Rests until the loads can take the tone; a fault where they never could.
    [[nodiscard]] capture::Result<void> before_take(const Setup& setup, const capture::Tone& tone);
    void after_take(const Setup& setup, const Take& take);
    /// Puts what the wiring check had to say of this test's loads to the flags of its first take, so that the
    /// session keeps it.
    void note(const Setup& setup, Take& first) const;
    /// A steady tone for some seconds, as long as the loads bear it, while somebody reads the meters; false
    /// where it cannot be played, which is told. Its capture is not kept.
    [[nodiscard]] capture::Result<bool> play_for_meters(const Setup& setup, const SteadyTone& steady);
    /// The largest DC that the three readings before connecting showed at a load of the test.
    std::optional<double> dc_offset_mv(const Test& test) const;

  private:
    LiveSession(const RunOptions& options, const capture::Bench& bench, const Manner& manner,
                Questions questions)
        : options_(options), bench_(bench), manner_(manner), questions_(std::move(questions)) {
        for (const capture::Load& load : bench.loads) budgets_.emplace_back(load);
    }
    capture::Result<void> read_terminals(const Setup& setup);
    capture::Result<void> connect(const Setup& setup);
    capture::Result<void> agree(const TrustRemark& remark);
    capture::Result<void> arrange_jig(const Test& test);
    double rest_before_s(const Setup& setup, const capture::Tone& tone) const;
    capture::Result<void> rest(double seconds, const std::string& why);

    RunOptions options_;
    const capture::Bench& bench_;
    Manner manner_;
    Questions questions_;
    std::unique_ptr<capture::Device> device_{};
    std::vector<capture::HeatBudget> budgets_{};           // one a load
    std::map<std::size_t, double> watts_at_full_scale_{};  // by load: as the last takes showed
    std::map<std::size_t, double> heard_dbfs_{};           // by load: level of the take that showed it
    std::set<std::size_t> connected_{};                    // loads
    std::map<std::size_t, double> dc_v_{};                 // by load whose terminals were read
    Unit unit_{};
    std::map<std::vector<std::size_t>, std::vector<TrustRemark>> heard_{};  // by set of loads: its wiring
    std::optional<capture::Fault> refused_{};  // scales that have moved, and nobody would go on with
    std::string in_jig_{};                     // what is in the impedance jig; empty: not known
};

}  // namespace assay::cli

// What a calibration changes in the bench file: the part by its name, the meter whose doubt a scale bears,
// and the text, which must still read well.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "capture/bench.h"
#include "capture/fault.h"
#include "cli/commands/terminal/io.h"
#include "cli/files/bench/bench_edit.h"

namespace assay::cli {

/// The one of that name, or the only one where none is named. Fault: neither; `mend` tells how to name one.
template <class Part>
capture::Result<std::size_t> find_part(const std::vector<Part>& parts, const std::string& name,
                                       const std::string& kind, const std::string& mend) {
    for (std::size_t k = 0; k < parts.size(); ++k) {
        if (parts[k].name == name || (name.empty() && parts.size() == 1)) return k;
    }
    std::string there;
    for (const Part& part : parts) there += (there.empty() ? "" : ", ") + part.name;
    const std::string what = name.empty() ? "the bench has not just one " + kind
                                          : "the bench has no " + kind + " \"" + name + "\"";
    return capture::fail(capture::FaultKind::bad_arguments, there.empty() ? what : what + ", but " + there,
                         mend);
}

std::string today();  // 2026-01-31
/// A text in quotes as JSON has it.
std::string json_text(const std::string& text);

/// The bench file's text with the edits, which must still read well; then the same, written.
[[nodiscard]] capture::Result<std::string> edited_bench(const std::filesystem::path& bench,
                                                        const std::string& kind, const std::string& name,
                                                        const BenchEdits& edits);
[[nodiscard]] capture::Result<void> write_bench_edits(const std::filesystem::path& bench,
                                                      const std::string& kind, const std::string& name,
                                                      const BenchEdits& edits);

/// Fault: the bench has no meter of that name, or it is not good at that frequency.
[[nodiscard]] capture::Result<void> check_meter(const capture::Bench& bench, const std::string& name,
                                                double frequency_hz);

/// The meter whose doubt a scale bears that was found by its reading: the named one, else the only one of the
/// bench if it is good at that frequency, else none (empty): then a note tells which doubt stays. Fault: that
/// of `check_meter`, for a named one.
[[nodiscard]] capture::Result<std::string> meter_that_read(const capture::Bench& bench,
                                                           const std::string& named, double frequency_hz,
                                                           const Manner& manner);

/// The doubt of a scale that was found with a meter: that meter's, in the place of one that was stated
/// before. Nothing where it is empty.
void add_meter(const std::string& meter, BenchEdits& edits);

/// A word where a new scale is several times the one before: rather a slip than a scale.
void remark_on_change(const capture::Input& input, double scale, const Manner& manner);

std::vector<std::size_t> all_outputs(const capture::Bench& bench);

}  // namespace assay::cli

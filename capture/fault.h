// What the world did: a file that is not there, a recording that cannot be trusted, a bench that
// would be overdriven. One sentence for a person, and the mend.
#pragma once

#include <optional>
#include <string>
#include <tl/expected.hpp>
#include <utility>

namespace assay::capture {

enum class FaultKind {
    bad_arguments,      // exit 2: the command line
    bad_input_file,     // exit 2: a job, bench or session file
    untrusted_capture,  // exit 3: overload, dropout, no signal, wrong wiring
    verification,       // exit 4
    not_written,        // exit 2: the disk is full, or took no more
    stopped,            // exit 130: by hand
    internal,           // exit 1
};

struct Fault {
    FaultKind kind = FaultKind::internal;
    std::string text;              // what is wrong and where (file, key, line), one line
    std::optional<double> at_s{};  // at which second of the recording, if it has one
    std::string mend{};            // what to do about it, one line
};

/// Only the members that C++23's std::expected has are used, so that the swap stays in this line.
template <class T>
using Result = tl::expected<T, Fault>;

inline tl::unexpected<Fault> fail(FaultKind kind, std::string text, std::string mend = {}) {
    return tl::unexpected<Fault>(Fault{kind, std::move(text), std::nullopt, std::move(mend)});
}

}  // namespace assay::capture

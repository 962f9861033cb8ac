// How commands speak: results on stdout, everything else on stderr, progress only on a terminal; one line an
// error.
#pragma once

#include <atomic>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

#include "capture/fault.h"

namespace assay::cli {

enum ExitStatus {
    exit_done = 0,
    exit_internal = 1,
    exit_bad_input = 2,
    exit_untrusted = 3,
    exit_verification = 4,
    exit_stopped = 130
};

/// The same in words, for the help and the manual page.
inline constexpr std::string_view exit_status_words =
    "0 done, 1 internal error, 2 bad arguments or input file, 3 the capture cannot be trusted,\n"
    "4 verification failed, 130 stopped by hand.\n";

/// Options that every command has.
struct Manner {
    bool quiet = false;
    bool json = false;
};

int exit_status_of(capture::FaultKind kind);

/// Prints "assay: <text>; <mend>" as one line on stderr (broken only to the width of a terminal) and gives
/// the exit status.
int report(const capture::Fault& fault);

/// Width of the terminal that a descriptor stands for; nothing without one, or where it is too narrow to
/// heed.
std::optional<std::size_t> terminal_columns(int descriptor);

/// A question or a remark about an answer, on stderr even where remarks are unwanted; no end of line.
void prompt(const std::string& text);

void say(const Manner& manner, const std::string& text);  // stderr, unless quiet
void print_result(const std::string& text);               // stdout
void print_text(const std::string& text);  // stdout, prose and tables: broken to the width of a terminal
void print_answer(const Manner& manner, const std::string& text);  // as prose, unless it is JSON
void show_progress(const Manner& manner, const std::string& what, double done);  // stderr, on a terminal only
void end_progress(const Manner& manner);

/// Set by the first Ctrl-C or SIGTERM.
const std::atomic<bool>& stop_requested();
void install_stop_handler();

/// Text for a person in one line: a blank in the place of each control character.
std::string one_line(const std::string& text);

}  // namespace assay::cli

#include "property/played_case.h"

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <cmath>
#include <fstream>
#include <sstream>

#include "cli/certificate/certificate.h"
#include "cli/commands/commands.h"
#include "cli/commands/session/setups.h"
#include "cli/files/session/session_file.h"
#include "cli/report/show.h"

namespace assay::drawn {

namespace {

namespace fs = std::filesystem;
using Broken = std::vector<std::string>;

constexpr std::size_t longest_message = 4000;

void hold(Broken& broken, bool promise, const std::string& what) {
    if (!promise) broken.push_back(what);
}

bool holds_no_number(const std::string& text) {
    const auto is_letter = [&](std::size_t at) {
        return at < text.size() && std::isalpha(static_cast<unsigned char>(text[at])) != 0;
    };
    for (std::size_t at = text.find("nan"); at != std::string::npos; at = text.find("nan", at + 1)) {
        if (!is_letter(at - 1) && !is_letter(at + 3)) return true;
    }
    return false;
}

void check_line(const std::string& line, Broken& broken) {
    hold(broken, line.find("; ") != std::string::npos, "no mend: " + line);
    hold(broken, line.size() < longest_message, "a message as long as a page: " + line);
    hold(broken, !holds_no_number(line), "not a number in a message: " + line);
}

void check_numbers(const std::string& where, const cli::Numbers& numbers, Broken& broken) {
    for (const auto& [name, quantity] : numbers.quantities) {
        const bool finite = std::isfinite(quantity.value) && std::isfinite(quantity.standard_uncertainty());
        hold(broken, finite, where + name + " is not finite");
    }
    for (const auto& [name, why] : numbers.absent) {
        hold(broken, !why.code.empty() && !why.text.empty(), where + name + " is absent without a reason");
        hold(broken, numbers.find(name) == nullptr, where + name + " is there and absent");
    }
    for (const cli::Warning& warning : numbers.warnings) {
        hold(broken, !warning.code.empty() && !warning.text.empty(), where + "a warning without words");
        hold(broken, !holds_no_number(warning.text), where + "not a number in a warning: " + warning.text);
    }
}

struct Ran {
    int status = 0;
    std::string out{};
    std::string err{};
};

template <class Command>
Ran run(const Command& command) {
    testing::internal::CaptureStderr();
    testing::internal::CaptureStdout();
    Ran ran;
    std::string thrown;
    try {
        ran.status = command();
    } catch (const std::exception& exception) {
        ran.status = cli::exit_internal;
        thrown = std::string("thrown: ") + exception.what() + "; \n";
    }
    ran.out = testing::internal::GetCapturedStdout();
    ran.err = testing::internal::GetCapturedStderr() + thrown;
    return ran;
}

void check_session(const fs::path& folder, int status, Broken& broken) {
    const auto session = cli::read_session(folder);
    if (!session) return broken.push_back("session.json is refused: " + session.error().text);
    std::ifstream in(folder / "session.json", std::ios::binary);
    std::ostringstream text;
    text << in.rdbuf();
    hold(broken, cli::session_text(*session) == text.str(),
         "session.json changes when it is read and written");
    bool faulty = false;
    for (const cli::TestRecord& record : session->tests) {
        faulty = faulty || record.result.fault.has_value();
        check_numbers(record.id + ": ", record.result.whole, broken);
        for (const auto& [load, numbers] : record.result.loads)
            check_numbers(record.id + ", " + load + ": ", numbers, broken);
    }
    hold(broken, faulty == (status != cli::exit_done), "the exit status does not fit the tests' faults");
    hold(broken, !holds_no_number(cli::show_text(*session)), "not a number in what is shown");
    hold(broken, !holds_no_number(cli::certificate_page(*session, {})), "not a number on the page");
    const Ran verified = run([&] { return cli::run_verify({folder}, {}); });
    hold(broken, verified.status == cli::exit_done, "not verified: " + verified.out + verified.err);
}

}  // namespace

CaseFolder::CaseFolder(bool keep) : keep_(keep) {
    static int made = 0;
    path_ = fs::path(testing::TempDir()) / fmt::format("assay-case-{}-{}", ::getpid(), ++made);
    fs::remove_all(path_);
    fs::create_directories(path_);
}

CaseFolder::~CaseFolder() {
    std::error_code ignored;
    if (!keep_) fs::remove_all(path_, ignored);
}

fs::path CaseFolder::put(const std::string& name, const std::string& text) const {
    std::ofstream(path_ / name, std::ios::binary) << text;
    return path_ / name;
}

Broken broken_by_refusal(const capture::Fault& fault, const std::string& file) {
    Broken broken;
    check_line(fault.text + "; " + fault.mend, broken);
    hold(broken, fault.kind == capture::FaultKind::bad_input_file, "another kind of fault: " + fault.text);
    hold(broken, !fault.mend.empty(), "no mend: " + fault.text);
    hold(broken, fault.text.find(file + ":") != std::string::npos,
         "names no line of the file: " + fault.text);
    hold(broken, fault.text.find('\n') == std::string::npos, "more than a line: " + fault.text);
    return broken;
}

double planned_s(const cli::Job& job, const capture::Bench& bench) {
    const std::vector<cli::TestRecord> none;
    const cli::JobOnBench all{&job, &bench, {}, &none, "2026-11-26T12:00:00+00:00"};
    double seconds = bench.simulated.card.delay_s * static_cast<double>(job.tests.size());
    for (const cli::Test& test : job.tests) {
        const auto tone = cli::find_measure(test.measure)->next(cli::setup_for(all, test), {});
        if (tone) seconds += tone->duration_s();
    }
    return seconds;
}

Outcome play(const CaseFolder& folder) {
    cli::RunOptions options;
    options.job = folder.path() / "job.toml";
    options.bench = folder.path() / "bench.toml";
    options.into = folder.path() / "session";
    options.yes = true;
    options.pages = "none";
    const Ran ran = run([&] { return cli::run_session(options, {.quiet = true}); });
    Outcome outcome;
    outcome.words = ran.status == cli::exit_done        ? "measured"
                    : ran.status == cli::exit_untrusted ? "not trusted"
                                                        : "stopped";
    const bool known = ran.status == cli::exit_done || ran.status == cli::exit_bad_input ||
                       ran.status == cli::exit_untrusted;
    hold(outcome.broken, known, fmt::format("exit status {}: {}", ran.status, ran.err));
    std::istringstream lines(ran.err);
    for (std::string line; std::getline(lines, line);) check_line(line, outcome.broken);
    hold(outcome.broken, ran.err.empty() == (ran.status == cli::exit_done),
         "words and status differ: " + ran.err);
    if (fs::exists(options.into / "session.json"))
        check_session(options.into, ran.status, outcome.broken);
    else
        hold(outcome.broken, ran.status == cli::exit_bad_input, "no session.json: " + ran.err);
    return outcome;
}

}  // namespace assay::drawn

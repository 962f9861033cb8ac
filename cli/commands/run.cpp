#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <ctime>
#include <memory>
#include <random>

#include "capture/device/recordings.h"
#include "capture/device/simulated.h"
#include "capture/guard.h"
#include "cli/certificate/certificate.h"
#include "cli/commands/calibrate/match_kept.h"
#include "cli/commands/commands.h"
#include "cli/commands/live/jig_arrangement.h"
#include "cli/commands/live/live_session.h"
#include "cli/commands/live/live_words.h"
#include "cli/commands/live/meter_desk.h"
#include "cli/commands/live/wiring_text.h"
#include "cli/commands/session/kept_files.h"
#include "cli/commands/session/progress.h"
#include "cli/commands/session/session_folder.h"
#include "cli/commands/session/setups.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/job/job_file.h"
#include "cli/files/posix.h"
#include "cli/files/session/readings_file.h"
#include "cli/files/session/session_file.h"
#include "cli/measures/fields.h"
#include "cli/measures/impedance.h"
#include "cli/measures/judgement/claims.h"
#include "cli/measures/readings.h"
#include "cli/report/show.h"
#include "cli/signature/contents.h"

namespace assay::cli {

namespace {

namespace fs = std::filesystem;
using capture::Fault;
using capture::FaultKind;

/// The job with the tests that an earlier run has not finished: what is still to be played and asked for.
Job without_finished(const Job& job, const std::optional<Session>& before) {
    Job left = job;
    if (before) std::erase_if(left.tests, [&](const Test& test) { return before->find(test.id) != nullptr; });
    return left;
}

std::string now_text() {
    const std::time_t now = std::time(nullptr);
    std::tm local{};
    localtime_r(&now, &local);
    std::string text = fmt::format("{:%Y-%m-%dT%H:%M:%S%z}", local);
    text.insert(text.size() - 2, ":");  // +0200 -> +02:00
    return text;
}

/// Unique without a register: the day and 40 random bits.
std::string new_number() {
    std::random_device entropy;
    const std::uint64_t bits = (static_cast<std::uint64_t>(entropy()) << 32U | entropy()) & 0xFFFFFFFFFFULL;
    return fmt::format("{:%Y%m%d}-{:010X}", fmt::localtime(std::time(nullptr)), bits);
}

capture::Result<std::unique_ptr<capture::Device>> open_device(const RunOptions& options,
                                                              const capture::Bench& bench) {
    if (options.recordings) {
        std::error_code error;
        if (!fs::is_directory(*options.recordings, error)) {
            return capture::fail(FaultKind::bad_arguments,
                                 options.recordings->string() + ": there is no such folder",
                                 "name the folder that holds the recordings");
        }
        return std::make_unique<capture::RecordingsDevice>(*options.recordings);
    }
    if (bench.source == capture::Source::simulated) return std::make_unique<capture::SimulatedDevice>(bench);
    return std::make_unique<capture::RecordingsDevice>(
        fs::path{});  // nothing sounds, so nothing is asked of it
}

/// Whether any test plays a tone: curves from files and meter readings need no device.
bool sounds(const Job& job, const capture::Bench& bench) {
    return std::any_of(job.tests.begin(), job.tests.end(), [&](const Test& test) {
        const Setup setup{.bench = &bench, .test = &test, .tone_rate_hz = bench.sample_rate_hz};
        return find_measure(test.measure)->next(setup, {}).has_value();
    });
}

/// A repeat of some tests needs no claims and no photographs.
void keep_only(Job& job, const std::vector<std::string>& ids) {
    std::erase_if(job.tests,
                  [&](const Test& test) { return std::find(ids.begin(), ids.end(), test.id) == ids.end(); });
    job.claims.clear();
    job.unit.photographs.clear();
}

/// The first take bears the test's name, the others a number behind a point, which no id can hold.
std::string capture_name(const Test& test, std::size_t takes_before) {
    return takes_before == 0 ? test.id : fmt::format("{}.{}", test.id, takes_before + 1);
}

/// Readings under load, while the tone sounds that the results name, and those that come last; then the
/// results once more, which rest on them. `live` is null where nothing real sounds.
capture::Result<void> read_meters(const Setup& setup, Test& test, LiveSession* live, Questions& questions,
                                  TestRecord& record) {
    if (!asked_of(test, ReadingMoment::loaded).empty()) {
        bool sounded = live == nullptr;
        if (live != nullptr && questions.can_ask()) {
            if (const auto steady = tone_for_loaded(setup, record.takes, record.result)) {
                const auto played = live->play_for_meters(setup, *steady);
                if (!played) return tl::unexpected<Fault>(played.error());
                sounded = *played;
            }
        }
        if (sounded) {
            if (auto asked = ask_readings(questions, test, ReadingMoment::loaded); !asked) return asked;
        }
    }
    if (auto asked = ask_readings(questions, test, ReadingMoment::after); !asked) return asked;
    bool more =
        !asked_of(test, ReadingMoment::loaded).empty() || !asked_of(test, ReadingMoment::after).empty();
    const auto dc_offset_mv = live != nullptr ? live->dc_offset_mv(test) : std::nullopt;
    if (dc_offset_mv && !test.number("dc_offset_mv")) {
        test.fields["dc_offset_mv"] = *dc_offset_mv;
        more = true;
    }
    if (more) record.result = find_measure(test.measure)->evaluate(setup, record.takes);
    return {};
}

/// What sounds; of a tone of minutes also how long it has done so.
std::string progress_words(const std::string& name, const capture::Tone& tone, double done, bool live) {
    constexpr double long_s = 120.0;
    if (!live || tone.duration_s() < long_s) return name;
    const double minutes = tone.duration_s() / 60.0;
    return fmt::format("{}: {:.1f} of {:.1f} minutes, stay beside it", name, done * minutes, minutes);
}

/// `live` is null where nothing real sounds.
void measure_test(const Setup& setup, Test& test, capture::Device& device, LiveSession* live,
                  Questions& questions, const RunOptions& options, const Manner& manner, TestRecord& record) {
    const Measure& measure = *find_measure(setup.test->measure);
    record.id = setup.test->id;
    record.result.measure = measure.name;
    if (live != nullptr) {
        if (const auto ready = live->before_test(setup); !ready) {
            record.result.fault = ready.error();
            return;
        }
    }
    if (const auto asked = ask_readings(questions, test, ReadingMoment::before); !asked) {
        record.result.fault = asked.error();
        return;
    }
    while (auto tone = measure.next(setup, record.takes)) {
        Take take{std::move(*tone), {}};
        const std::vector<std::size_t> outputs = outputs_of(setup);
        if (!options.recordings) {
            if (const auto guarded = capture::check_tone(*setup.bench, outputs, take.tone); !guarded) {
                record.result.fault = guarded.error();
                break;
            }
        }
        if (live != nullptr) {
            if (const auto cool = live->before_take(setup, take.tone); !cool) {
                record.result.fault = cool.error();
                break;
            }
        }
        capture::PlayRequest request;
        request.capture_name = capture_name(*setup.test, record.takes.size());
        request.stop_on_trouble = setup.live && measure.name == "clipping-power";
        if (setup.live && measure.end_early) request.end_on_fall = measure.end_early(setup);
        request.tone = &take.tone;
        request.outputs = outputs;
        request.into = options.into / "captures";
        request.loads = setup.test->loads;
        request.in_jig = in_jig_of(*setup.test);
        request.progress = [&](double done) {
            show_progress(manner, progress_words(request.capture_name, *request.tone, done, live != nullptr),
                          done);
        };
        auto recording = device.play_and_record(request, stop_requested());
        end_progress(manner);
        if (!recording) {
            record.result.fault = recording.error();
            break;
        }
        take.recording = std::move(*recording);
        if (live != nullptr) live->after_take(setup, take);
        if (live != nullptr && record.takes.empty()) live->note(setup, take);
        record.takes.push_back(std::move(take));
    }
    if (record.result.fault) return;
    record.result = measure.evaluate(setup, record.takes);
    if (!record.result.fault) {
        if (const auto read = read_meters(setup, test, live, questions, record); !read) {
            set_fault(record.result, read.error());
            return;
        }
        note_readings(test, record.result);
    }
    if (const auto kept = keep_match(setup, record, options.into); !kept)
        set_fault(record.result, kept.error());
    if (live == nullptr) return;
    note_device_flags(record);
    note_second_clock(*setup.bench, record.result);
    word_for_live(record.result);
}

/// Number and beginning of the session that goes on, or of a new one.
Session begun_session(const Job& job, const capture::Bench& bench, bool simulated,
                      const std::optional<Session>& before) {
    Session session;
    session.program_version = ASSAY_VERSION;
    session.created = before ? before->created : now_text();
    session.number = before ? before->number : new_number();
    session.simulated = simulated;
    session.unit = job.unit;
    session.rating = job.rating;
    session.bench = bench;
    return session;
}

capture::Result<void> check_somebody_sets_supply(const Questions& questions, const Job& job) {
    if (questions.can_ask()) return {};
    for (const Test& test : job.tests) {
        const auto supply = test.number("supply_set_v");
        if (!supply) continue;
        return capture::fail(
            FaultKind::bad_arguments,
            fmt::format("test \"{}\": nobody is there to set the supply to {:.4g} V", test.id, *supply),
            "run at a terminal, or give --answers FILE with " + test.id + "-supply_idle_v");
    }
    return {};
}

/// Remarks and places belong to the results: a fault must stay alone on stderr.
void tell_results(const Session& session, const RunOptions& options, bool page, const Manner& manner) {
    if (manner.json) {
        print_result(session_text(session));
        return;
    }
    if (manner.quiet) return;
    print_text(show_text(session));
    for (const std::string& remark : bench_remarks(session.bench)) print_text("note: " + remark + "\n");
    print_result(fmt::format("session: {}\n", options.into.string()));
    if (page) print_result(fmt::format("certificate: {}\n", (options.into / "certificate.html").string()));
}

}  // namespace

int run_session(const RunOptions& options, const Manner& manner) {
    auto bench = read_bench(options.bench);
    if (!bench) return report(bench.error());
    auto job = read_job(options.job, *bench, bench->sample_rate_hz);
    if (!job) return report(job.error());
    if (!options.only.empty()) keep_only(*job, options.only);
    if (options.show_wiring) {
        const auto wiring = wiring_text(*job, *bench);
        if (!wiring) return report(wiring.error());
        print_text(*wiring);
        return exit_done;
    }
    if (options.into.empty())
        return report(
            {FaultKind::bad_arguments, "--into is missing", std::nullopt, "name a folder for the session"});
    std::unique_ptr<LiveSession> live;
    std::unique_ptr<capture::Device> offline;
    if (!options.recordings && bench->source == capture::Source::device && sounds(*job, *bench)) {
        if (const auto fits = wiring_text(*job, *bench); !fits) return report(fits.error());
        auto opened = LiveSession::open(options, *bench, manner);
        if (!opened) return report(opened.error());
        live = std::move(*opened);
    } else {
        auto opened = open_device(options, *bench);
        if (!opened) return report(opened.error());
        offline = std::move(*opened);
    }
    capture::Device& device = live ? live->device() : *offline;
    const auto own_folder = take_session_folder(options);
    if (!own_folder) return report(own_folder.error());
    std::optional<Session> before;
    if (options.resume) {
        auto loaded = load_progress(options);
        if (!loaded) return report(loaded.error());
        before = std::move(*loaded);
    }
    if (const auto ready = prepare_session_folder(options); !ready) return report(ready.error());
    if (options.of_session != OfSession::nothing) name_kept_files(*job);
    if (options.of_session == OfSession::job_and_bench) name_kept_files(*bench);
    if (const auto kept = keep_files(*job, *bench, options.job, options.bench, options.into); !kept) {
        return report(kept.error());
    }

    const Job left = without_finished(*job, before);
    // A live session has somebody to ask already, who answers each question once.
    auto own_questions = Questions::open(live ? std::nullopt : options.answers);
    if (!own_questions) return report(own_questions.error());
    Questions& questions = live ? live->questions() : *own_questions;
    if (live) {
        if (const auto somebody = check_somebody_moves_jig(questions, left); !somebody)
            return report(somebody.error());
        if (const auto somebody = check_somebody_sets_supply(questions, left); !somebody)
            return report(somebody.error());
    }
    if (before) {
        if (const auto read = apply_readings(options.into, *job); !read) return report(read.error());
    }

    const Session begun = begun_session(*job, *bench, device.simulated(), before);
    Session session = begun;
    if (live) {
        if (const auto introduced = live->introduce(left); !introduced) return report(introduced.error());
    }
    const JobOnBench all{&*job, &*bench, options.into, &session.tests, session.created};
    int status = exit_done;
    std::vector<std::string> told;
    for (Test& test : job->tests) {
        if (const TestRecord* done = before ? before->find(test.id) : nullptr) {
            say(manner, fmt::format("test \"{}\" is done already", test.id));
            session.tests.push_back(*done);
            continue;
        }
        TestRecord record;
        Setup setup = setup_for(all, test);
        setup.live = live != nullptr;
        measure_test(setup, test, device, live.get(), questions, options, manner, record);
        if (record.result.fault) {
            Fault fault = *record.result.fault;
            if (fault.kind == FaultKind::stopped) return report(fault);
            if (fault.kind == FaultKind::not_written) {
                fault.mend += ", then go on with --resume";
                return report(fault);
            }
            // A test that names a faulty one has that fault too; it is told once.
            const bool repeated = std::any_of(told.begin(), told.end(), [&](const std::string& earlier) {
                return fault.text.ends_with(earlier) || earlier.ends_with(fault.text);
            });
            told.push_back(fault.text);
            fault.text = "test \"" + test.id + "\": " + fault.text;
            const int own = repeated ? exit_status_of(fault.kind) : report(fault);
            if (status == exit_done) status = own;
        }
        session.tests.push_back(std::move(record));
        if (const auto read = keep_readings(options.into, *job); !read) return report(read.error());
        const auto saved = save_progress(begun, session.tests.back(), session.tests.size(), options.into);
        if (!saved) return report(saved.error());
    }
    for (const Claim& claim : job->claims) {
        const TestRecord* record = session.find(claim.test);
        session.claims.push_back(
            judge_claim(claim, *job, *bench, record == nullptr ? nullptr : &record->result));
    }
    if (const auto written = write_session(session, options.into); !written) return report(written.error());
    forget_progress(options.into);
    const auto contents = write_contents(options.into, session.number);
    if (!contents) return report(contents.error());
    PageOptions pages;
    pages.html = options.pages != "none";
    pages.pdf = pages.png = options.pages == "all";
    pages.fingerprint = contents_fingerprint(*contents);
    for (const Fault& fault : write_pages(session, options.into, pages)) {
        const std::string note = "note: " + fault.text + (fault.mend.empty() ? "" : "; " + fault.mend);
        if (manner.json || manner.quiet || !options.print) {
            say(manner, note);
        } else {
            print_text(note + "\n");
        }
    }
    if (options.print) tell_results(session, options, pages.html, manner);
    return status;
}

}  // namespace assay::cli

#include "cli/files/session/session_file.h"

#include <cassert>
#include <limits>

#include "cli/files/job/job_reader.h"
#include "cli/files/plain_text.h"
#include "cli/files/posix.h"
#include "cli/files/session/session_describe.h"
#include "cli/files/whole_file.h"
#include "cli/report/basis.h"

namespace assay::cli {

using capture::fail;
using capture::FaultKind;

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, Unit>
void describe(Archive& archive, Object& unit) {
    static const EnumWords<UnitKind> kinds{
        {UnitKind::amplifier, "amplifier"}, {UnitKind::driver, "driver"}, {UnitKind::line, "line"}};
    archive.choice("kind", unit.kind, kinds);
    archive.field("maker", unit.maker);
    archive.field("model", unit.model);
    archive.field("serial", unit.serial);
    archive.field("condition", unit.condition);
    archive.optional_text("repairs", unit.repairs);
    archive.optional_text("sellers_note", unit.sellers_note);
    archive.optional_list("photographs", unit.photographs);
    archive.field("minimum_load_ohm", unit.minimum_load_ohm);
    archive.field("minimum_bridged_load_ohm", unit.minimum_bridged_load_ohm);
    static const EnumWords<OutputStage> stages{{OutputStage::linear, "linear"},
                                               {OutputStage::switching, "switching"}};
    archive.optional_choice("output_stage", unit.output_stage, stages);
}

}  // namespace assay::cli

namespace assay::analysis {

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, Tolerance>
void describe(Archive& archive, Object& limit) {
    archive.field("at_least", limit.at_least);
    archive.field("at_most", limit.at_most);
}

}  // namespace assay::analysis

namespace assay::cli {

template <class Archive, class Object>
requires std::is_same_v<std::remove_const_t<Object>, JudgedClaim>
void describe(Archive& archive, Object& claim) {
    using analysis::Verdict;
    static const EnumWords<Verdict> verdicts{
        {Verdict::met, "met"}, {Verdict::not_met, "not met"}, {Verdict::undecided, "undecided"}};
    archive.field("text", claim.text);
    archive.field("test", claim.test);
    archive.field("load", claim.load);
    archive.field("quantity", claim.quantity);
    archive.choice("verdict", claim.verdict, verdicts);
    const std::string key = "measured";
    const Place place{&archive.place(), &key, 0};
    if constexpr (Archive::writing) {
        JsonWriter measured(archive.node()[key], place, archive.trouble());
        if (claim.measured) write_quantity(measured, *claim.measured);
    } else if (const Json* node = archive.find(key)) {
        JsonReader measured(*node, place, archive.trouble());
        if (!node->empty()) read_quantity(measured, claim.measured.emplace());
    }
    archive.field("limit", claim.limit);
    archive.field("reason", claim.reason);
}

namespace {

constexpr const char* schema_of_session = "assay-session-1";
// A long staircase with curves and eight loads stays below a megabyte; what is larger is no session file.
constexpr std::size_t most_bytes = 64U << 20U;

/// What was measured at bare inputs stands under a key of its own; so does what a line unit's test lost.
std::string loads_key(const Session& session, const TestResult& result) {
    if (result.loads.empty()) return session.unit.kind == UnitKind::line ? "inputs" : "loads";
    const capture::Load* load = find_load(session.bench, result.loads.front().first);
    return load != nullptr && load->bare_input ? "inputs" : "loads";
}

Json session_document(const Session& session, Trouble& trouble) {
    Json document;
    const Place root{};
    JsonWriter archive(document, root, trouble);
    archive.field("schema", std::string(schema_of_session));
    archive.field("simulated", session.simulated);
    archive.field("number", session.number);
    archive.field("created", session.created);
    archive.field("program_version", session.program_version);
    archive.field("unit", session.unit);

    archive.object("bench", [&](JsonWriter& bench) { write_bench(bench, session.bench); });
    archive.object("tests", [&](JsonWriter& tests) {
        for (const TestRecord& record : session.tests) {
            tests.object(record.id, [&](JsonWriter& test) {
                write_result(test, record.result, loads_key(session, record.result));
                test.list("takes", record.takes, write_take);
            });
        }
    });
    archive.field("claims", session.claims);
    write_rating(archive, session);
    write_power_table(archive, session);
    write_findings(archive, session);
    return document;
}

void read_tests(JsonReader& archive, const std::filesystem::path& folder, Session& session) {
    Trouble& trouble = archive.trouble();
    const std::string key = "tests";
    const Json* node = archive.find(key);
    if (node == nullptr) return;
    const Place tests_place{&archive.place(), &key, 0};
    const JsonReader check(*node, tests_place, trouble);
    for (auto entry = node->begin(); !trouble.first && entry != node->end(); ++entry) {
        const std::string& id = entry.key();
        const Place place{&tests_place, &id, 0};
        JsonReader test(*entry, place, trouble);
        // Ids are names of files too: what is none must not come in by a session from elsewhere.
        if (const std::string wrong = id_fault(id); !wrong.empty())
            return trouble.note(place, "is no test id: it " + wrong);
        session.tests.push_back({id, {}, {}});
        read_result(test, session.tests.back().result);
        const std::string takes_key = "takes";
        const Place takes_place{&place, &takes_key, 0};
        const Json* takes = test.find(takes_key);
        if (takes == nullptr) return;
        if (!takes->is_array()) return trouble.note(takes_place, "should be a list");
        for (std::size_t i = 0; i < takes->size() && !trouble.first; ++i) {
            const Place take_place{&takes_place, nullptr, i};
            JsonReader take((*takes)[i], take_place, trouble);
            read_take(take, folder, session.tests.back().takes.emplace_back());
        }
    }
}

void read_document(const Json& document, const std::filesystem::path& folder, Session& session,
                   Trouble& trouble) {
    const Place root{};
    JsonReader archive(document, root, trouble);
    std::string found_schema;
    archive.field("schema", found_schema);
    if (!trouble.first && found_schema != schema_of_session) {
        const std::string key = "schema";
        return trouble.note(Place{&root, &key, 0}, "is \"" + visible_text(found_schema, 40) + "\", not \"" +
                                                       schema_of_session +
                                                       "\", the only one that this version reads");
    }
    archive.field("simulated", session.simulated);
    archive.field("number", session.number);
    archive.field("created", session.created);
    archive.field("program_version", session.program_version);
    archive.field("unit", session.unit);
    const std::string bench_key = "bench";
    if (const Json* node = archive.find(bench_key)) {
        const Place place{&root, &bench_key, 0};
        JsonReader bench(*node, place, trouble);
        if (!trouble.first) read_bench_record(bench, session.bench);
    }
    if (!trouble.first) read_tests(archive, folder, session);
    if (!trouble.first) archive.field("claims", session.claims);
    if (!trouble.first) read_rating(archive, session);
}

tl::unexpected<capture::Fault> damaged(const std::filesystem::path& file, const std::string& what) {
    return fail(FaultKind::bad_input_file, visible_path(file) + ": " + what,
                "take an undamaged copy of the session folder, or run the job again");
}

/// "line 3, column 12" of a byte (counted from 1, as the parser does).
std::string line_and_column(const std::string& text, std::size_t byte) {
    std::size_t line = 1;
    std::size_t column = 1;
    for (std::size_t i = 0; i + 1 < byte && i < text.size(); ++i) {
        column = text[i] == '\n' ? 1 : column + 1;
        if (text[i] == '\n') ++line;
    }
    return "line " + std::to_string(line) + ", column " + std::to_string(column);
}

}  // namespace

std::string session_text(const Session& session) {
    Trouble trouble;
    const Json document = session_document(session, trouble);
    assert(!trouble.first && "a session that may be written is finite and has no name twice");
    return json_text(document);
}

capture::Result<void> write_session(const Session& session, const std::filesystem::path& folder) {
    Trouble trouble;
    const Json document = session_document(session, trouble);
    if (trouble.first) {
        return fail(FaultKind::internal, "session.json is not written: " + *trouble.first,
                    "this is a mistake of the program; please report it with the job and bench files");
    }
    return write_file_safely(folder / "session.json", json_text(document));
}

capture::Result<Session> read_session(const std::filesystem::path& folder) {
    const std::filesystem::path file = folder / "session.json";
    const auto text = whole_file(file, most_bytes);
    if (!text && text.error() == ReadTrouble::missing) {
        return fail(FaultKind::bad_input_file, visible_path(file) + ": there is no such file",
                    "name the folder of a finished session (the one given to --into)");
    }
    if (!text)
        return damaged(
            file, text.error() == ReadTrouble::too_large ? "is too large to be a session" : "cannot be read");
    try {
        const Json document = Json::parse(*text);
        Session session;
        Trouble trouble;
        read_document(document, folder, session, trouble);
        if (trouble.first) return damaged(file, *trouble.first);
        return session;
    } catch (const Json::parse_error& wrong) {
        return damaged(file, line_and_column(*text, wrong.byte) + ": is not JSON from here on");
    } catch (const Json::exception&) {
        return damaged(file, "holds a value that cannot be read");
    }
}

}  // namespace assay::cli

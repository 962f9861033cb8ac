// Every reader of what somebody else may have written, fed by libFuzzer: `fuzz --reader=bench CORPUS`. A
// reader may refuse, with a fault that says something; it may not crash, hang, or read beyond. Where a file
// is taken, what is written again must read back the same.
#include <unistd.h>

#include <algorithm>
#include <array>
#include <complex>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>
#include <string_view>

#include "capture/raw_checks.h"
#include "capture/recording.h"
#include "cli/commands/terminal/questions.h"
#include "cli/files/bench/bench_file.h"
#include "cli/files/curves/impedance_file.h"
#include "cli/files/curves/match_file.h"
#include "cli/files/curves/response_file.h"
#include "cli/files/job/job_file.h"
#include "cli/files/picture/photograph.h"
#include "cli/files/picture/picture_notes.h"
#include "cli/files/session/session_file.h"
#include "cli/signature/bundle.h"
#include "cli/signature/signature.h"
#include "cli/signature/ustar.h"

namespace {

using assay::capture::Result;
namespace cli = assay::cli;
namespace fs = std::filesystem;

[[noreturn]] void broken(const std::string& what) {
    std::fprintf(stderr, "broken promise: %s\n", what.c_str());
    std::abort();
}

/// A refusal says what is wrong, in text that is no longer than a screen.
template <class Value>
bool taken(const Result<Value>& result) {
    if (result) return true;
    if (result.error().text.empty()) broken("a refusal without words");
    if (result.error().text.size() > 4000)
        broken("a refusal of " + std::to_string(result.error().text.size()) + " bytes");
    return false;
}

const fs::path& folder() {
    static const fs::path made = [] {
        fs::path path = fs::temp_directory_path() / ("assay-fuzz-" + std::to_string(::getpid()));
        fs::create_directories(path);
        return path;
    }();
    return made;
}

fs::path file_of(std::string_view bytes, const char* name) {
    const fs::path path = folder() / name;
    std::ofstream(path, std::ios::binary).write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
    return path;
}

constexpr std::string_view plain_bench = R"([sound]
source = "device"
sample_rate_hz = 48000
[[output]]
name = "drive"
channel = 1
volts_at_full_scale = 2.0
maximum_dbfs = 0.0
[[input]]
name = "probe"
channel = 1
volts_at_full_scale = 1.9
attenuation = 13.0
uncertainty_percent = 0.5
[[load]]
name = "load"
resistance_ohm = 4.0
uncertainty_percent = 0.5
plus = "probe"
)";

void read_bench(std::string_view bytes) {
    const auto bench = cli::parse_bench(bytes, "bench.toml");
    if (taken(bench)) cli::bench_remarks(*bench);
}

void read_job(std::string_view bytes) {
    static const auto bench = cli::parse_bench(plain_bench, "bench.toml");
    if (!bench) broken("the plain bench is refused: " + bench.error().text);
    taken(cli::parse_job(bytes, "job.toml", *bench, 48000.0));
}

void read_session(std::string_view bytes) {
    file_of(bytes, "session.json");
    const auto session = cli::read_session(folder());
    if (!taken(session)) return;
    const std::string text = cli::session_text(*session);
    file_of(text, "session.json");
    const auto again = cli::read_session(folder());
    if (!again) broken("a session that was written is refused: " + again.error().text);
    if (cli::session_text(*again) != text) broken("a session changes when it is written");
}

/// The first byte chooses the kind of file, the rest is its text.
void read_curve(std::string_view bytes) {
    if (bytes.empty()) return;
    constexpr std::array names{"curve.csv", "curve.txt", "curve.s1p"};
    const auto curve =
        cli::parse_impedance(names.at(static_cast<std::uint8_t>(bytes[0]) % 3), bytes.substr(1));
    if (!taken(curve)) return;
    const auto again = cli::parse_impedance("curve.csv", cli::impedance_csv(*curve));
    if (!again) broken("a curve that was written is refused: " + again.error().text);
    // Written as magnitude and phase: the last bits of real and imaginary part may differ.
    if (again->points.size() != curve->points.size()) broken("a curve loses points when it is written");
    for (std::size_t k = 0; k < curve->points.size(); ++k) {
        const auto& was = curve->points[k];
        const auto& is = again->points[k];
        if (is.frequency_hz != was.frequency_hz ||
            std::abs(is.z_ohm - was.z_ohm) > 1e-12 * std::abs(was.z_ohm))
            broken("a curve changes when it is written");
    }
}

void read_response(std::string_view bytes) {
    const auto card = cli::parse_card_response(std::string(bytes), "card.json");
    if (!taken(card)) return;
    const std::string text = cli::card_response_text(*card);
    const auto again = cli::parse_card_response(text, "card.json");
    if (!again || cli::card_response_text(*again) != text) broken("a response changes when it is written");
}

void read_match(std::string_view bytes) {
    const auto match = cli::parse_match(std::string(bytes), "match.json");
    if (!taken(match)) return;
    const std::string text = cli::match_text(*match);
    const auto again = cli::parse_match(text, "match.json");
    if (!again || cli::match_text(*again) != text) broken("a match changes when it is written");
}

void read_recording(std::string_view bytes) {
    const auto recording = assay::capture::open_recording(file_of(bytes, "recording.wav"));
    if (!taken(recording)) return;
    constexpr std::array channels{1};
    const auto checked = assay::capture::check_raw(*recording, channels);
    if (taken(checked) && checked->frames_read > recording->frames) broken("more frames read than there are");
}

/// The same with every header as the program writes it for that path and size: no chance finds a sum that
/// fits.
std::string with_fitting_headers(std::string_view bytes) {
    std::string made(bytes);
    for (std::size_t at = 0; at + cli::ustar_block <= made.size();) {
        constexpr std::size_t size_at = 124;
        const std::string path = made.substr(at, std::min<std::size_t>(made.find('\0', at) - at, 100));
        std::uintmax_t size = 0;
        for (std::size_t k = at + size_at; k < at + size_at + 11 && made[k] >= '0' && made[k] <= '7'; ++k)
            size = 8 * size + static_cast<std::uintmax_t>(made[k] - '0');
        if (const auto header = cli::ustar_header({path, size}); header && made[at] != '\0')
            std::copy(header->begin(), header->end(), made.begin() + static_cast<std::ptrdiff_t>(at));
        at += cli::ustar_block;
        if (size < made.size()) at += static_cast<std::size_t>(size) + cli::ustar_padding(size);
    }
    return made;
}

void read_bundle(std::string_view bytes) {
    const fs::path around = folder() / "around";
    const fs::path into = around / "unpacked";
    for (const std::string& bundle : {std::string(bytes), with_fitting_headers(bytes)}) {
        fs::remove_all(around);
        fs::create_directories(into);
        taken(cli::unpack_bundle(file_of(bundle, "bundle.tar"), into));
        if (std::distance(fs::directory_iterator(around), {}) != 1)
            broken("a bundle writes beside its folder");
    }
}

void read_signature(std::string_view bytes) {
    file_of(bytes, "signature.json");
    const auto signature = cli::read_signature(folder());
    if (!taken(signature) || !*signature) return;
    cli::contents_signature_fits(**signature, "{}");
    cli::pages_signature_fits(**signature);
}

void read_answers(std::string_view bytes) {
    auto questions = cli::Questions::open(file_of(bytes, "answers.toml"));
    if (!taken(questions)) return;
    taken(questions->number({"volts", "volts", ""}, 0.0, 1e4));
    taken(questions->yes({"proceed", "proceed", ""}));
    taken(questions->text({"name", "name", "none"}));
}

void read_photograph(std::string_view bytes) {
    const auto picture = cli::read_photograph(file_of(bytes, "unit.jpg"));
    if (!taken(picture)) return;
    const auto plain = cli::without_notes(*picture);
    if (!taken(plain)) return;
    const auto again = cli::without_notes(*plain);
    if (!again || *again != *plain) broken("a picture without notes changes once more");
    if (cli::photograph_type(*plain) != cli::photograph_type(*picture))
        broken("a picture becomes another kind");
}

struct Reader {
    std::string_view name;
    void (*read)(std::string_view);
};
constexpr std::array readers{
    Reader{"bench", read_bench},           Reader{"job", read_job},
    Reader{"session", read_session},       Reader{"curve", read_curve},
    Reader{"response", read_response},     Reader{"match", read_match},
    Reader{"recording", read_recording},   Reader{"bundle", read_bundle},
    Reader{"signature", read_signature},   Reader{"answers", read_answers},
    Reader{"photograph", read_photograph},
};

const Reader* chosen = nullptr;

}  // namespace

extern "C" int LLVMFuzzerInitialize(int* count, char*** words);
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size);

extern "C" int LLVMFuzzerInitialize(int* count, char*** words) {
    for (int k = 1; k < *count; ++k) {
        const std::string_view word = (*words)[k];
        if (!word.starts_with("--reader=")) continue;
        const auto found = std::ranges::find(readers, word.substr(9), &Reader::name);
        if (found != readers.end()) chosen = &*found;
    }
    if (chosen == nullptr) {
        std::fputs("usage: fuzz --reader=NAME [libFuzzer's options] [CORPUS]\nreaders:", stderr);
        for (const Reader& reader : readers) std::fprintf(stderr, " %s", std::string(reader.name).c_str());
        std::fputs("\n", stderr);
        std::exit(2);
    }
    std::atexit([] { fs::remove_all(folder()); });
    return 0;
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* bytes, std::size_t size) {
    chosen->read({reinterpret_cast<const char*>(bytes), size});
    return 0;
}

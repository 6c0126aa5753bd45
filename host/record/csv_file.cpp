// SPDX-License-Identifier: MIT
#include "host/record/csv.hpp"
#include "host/record/file.hpp"
#include <cstdio>
#include <cstring>
#include <fmt/format.h>
#include <memory>

namespace yokedock::record {
namespace {

constexpr std::size_t kChunkBytes = 1u << 20;

struct Closer {
    void operator()(std::FILE* file) const { (void)std::fclose(file); }
};

Error read_error(const std::string& path) {
    return {ErrorKind::kFile, fmt::format("cannot read {}: {}, expected a readable file; check its "
                                          "permissions",
                                          path, std::strerror(errno))};
}

/// Hands the whole lines in text to the reader and keeps the rest in text. A line that is longer
/// than any real one goes on too, so that the rest never grows beyond one chunk.
Status take_lines(CsvReader& reader, std::string& text) {
    std::size_t begin = 0;
    for (std::size_t end = text.find('\n'); end != std::string::npos;
         begin = end + 1, end = text.find('\n', begin)) {
        const Status taken = reader.line(std::string_view(text).substr(begin, end - begin));
        if (!taken) {
            return taken;
        }
    }
    text.erase(0, begin);
    if (text.size() >= kChunkBytes) {
        return reader.line(text);
    }
    return Done{};
}

} // namespace

Result<CsvTable> read_csv(const std::string& path, const CsvOptions& options) {
    if (const auto size = regular_file_size(path, kMaxCsvBytes, "CSV file"); !size) {
        return size.error();
    }
    const std::unique_ptr<std::FILE, Closer> file(std::fopen(path.c_str(), "rbe"));
    if (!file) {
        return read_error(path);
    }
    CsvReader reader(path, options);
    std::string text;
    for (;;) {
        const std::size_t had = text.size();
        text.resize(had + kChunkBytes);
        const std::size_t got = std::fread(text.data() + had, 1, kChunkBytes, file.get());
        text.resize(had + got);
        if (got == 0) {
            break;
        }
        if (options.stopped && options.stopped()) {
            return Error{ErrorKind::kStopped,
                         "stopped while reading " + path + "; nothing was saved"};
        }
        if (const Status taken = take_lines(reader, text); !taken) {
            return taken.error();
        }
    }
    if (std::ferror(file.get()) != 0) {
        return read_error(path);
    }
    if (!text.empty()) {
        if (const Status taken = reader.line(text); !taken) {
            return taken.error();
        }
    }
    return reader.finish();
}

} // namespace yokedock::record

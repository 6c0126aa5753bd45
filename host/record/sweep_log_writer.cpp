// SPDX-License-Identifier: MIT
#include "host/record/sweep_log_writer.hpp"

namespace yokedock::record {

Result<SweepLogWriter> SweepLogWriter::create(const std::string& path, const SweepLogHeader& header,
                                              IfExists if_exists) {
    const std::string line = header_line(header);
    if (const Status written = write_file(path, line, if_exists); !written) {
        return written.error();
    }
    Result<AppendFile> file = AppendFile::open(path, line.size());
    if (!file) {
        return file.error();
    }
    return SweepLogWriter(std::move(file).value());
}

Result<SweepLogWriter> SweepLogWriter::resume(const std::string& path, const SweepLog& log,
                                              const SweepLogEvent& resumed) {
    Result<AppendFile> file = AppendFile::open(path, log.good_bytes);
    if (!file) {
        return file.error();
    }
    SweepLogWriter writer(std::move(file).value());
    if (const Status added = writer.add(resumed); !added) {
        return added.error();
    }
    return writer;
}

} // namespace yokedock::record
